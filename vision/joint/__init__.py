"""Several photos of one opening in one adjustment."""
