"""What lies ahead: what a passage is asked with, and when best to leave."""
