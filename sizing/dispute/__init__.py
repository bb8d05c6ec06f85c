"""Which step brought a wrong size in."""
