"""What thinks: trips, charge, power against speed, range, faults and their reasons."""
