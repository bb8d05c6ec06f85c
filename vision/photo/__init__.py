"""A photo as a file: read upright, and its Exif facts."""
