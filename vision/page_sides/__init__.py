"""The sides of pages, cards and rectangles of known size, traced to sub-pixels; as observations."""
