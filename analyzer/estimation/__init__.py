"""Estimate, detections, quantiles, least squares: the words all models share."""
