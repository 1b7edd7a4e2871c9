"""Power against speed: resistance, propeller, fits to steady stretches, fouling."""
