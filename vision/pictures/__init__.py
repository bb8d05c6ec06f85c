"""Results drawn for people."""
