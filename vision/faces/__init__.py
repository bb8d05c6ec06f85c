"""Outlines nested about an opening: frame, trim, sill lines."""
