"""Readings and photo adjusted and tested together, for one opening and over a job."""
