"""Job files: read, checked, changed in place."""
