"""The pack: rest curve, cell model, charge filter, capacity, charging."""
