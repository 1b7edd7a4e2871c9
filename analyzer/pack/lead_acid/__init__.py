"""Lead-acid cells: two wells, rest voltage, charging, and what is known of a block beforehand."""
