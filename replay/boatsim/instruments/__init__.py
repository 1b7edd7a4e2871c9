"""What the invented boat's instruments say of what is true, and the files it is written into."""
