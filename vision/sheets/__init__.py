"""The printable sheet: its design, where it is in a photo, its print scale."""
