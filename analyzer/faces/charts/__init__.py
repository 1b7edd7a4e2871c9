"""Drawings: SVG for pages and paper, charts to pan and zoom."""
