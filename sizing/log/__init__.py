"""The log over job folders."""
