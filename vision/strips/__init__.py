"""Strips of the photo along a line on the wall, in the light that it got, and the steps across them."""
