"""Pages, cards and rectangles of known size as references."""
