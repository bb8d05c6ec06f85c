"""The sides of an opening, traced at sub-pixel precision with their rivals."""
