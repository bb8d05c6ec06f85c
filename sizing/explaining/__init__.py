"""What probably slipped: hypotheses, weighed and ranked."""
