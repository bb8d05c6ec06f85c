"""Camera profiles: made, kept in files, applied."""
