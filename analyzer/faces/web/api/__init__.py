"""The HTTP API's parameters and its description."""
