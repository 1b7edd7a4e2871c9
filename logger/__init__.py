"""What touches the boat: sources, decoding, clock, store and the recording daemon."""
