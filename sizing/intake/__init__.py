"""Readings from spreadsheets, and photos proposed for openings."""
