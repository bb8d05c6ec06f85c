"""The log over job folders, and its statistics."""
