"""A cache: what was worked out for a photo is kept while the corners of its opening are moved."""
