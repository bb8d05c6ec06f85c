"""What a footprint shows of each opening: its result, pictures and files."""
