"""What another boat would do, and what would help most: kept apart from what was measured."""
