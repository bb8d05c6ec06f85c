"""Readings, cross-check, verdict and order; imports `vision`, never the reverse."""
