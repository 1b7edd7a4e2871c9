"""Pages and the HTTP API."""
