"""The ordered size on the wall, and what is in its way."""
