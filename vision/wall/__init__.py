"""The wall's own lines as observations."""
