"""How readings are packed: codecs, chunks, joining and thinning them."""
