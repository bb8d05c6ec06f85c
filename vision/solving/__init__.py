"""From references to a solved camera and wall."""
