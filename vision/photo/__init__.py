"""A photo as a file: read upright, its Exif facts, its quality."""
