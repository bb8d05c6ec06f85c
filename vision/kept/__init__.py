"""What was worked out, kept while corners are moved."""
