"""Finding the opening when nobody pointed at it."""
