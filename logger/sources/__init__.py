"""One file per way in; each yields rows (see `source.py`)."""
