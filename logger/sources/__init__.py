"""One file per way in; each is a `Source` (see `reading.py`)."""
