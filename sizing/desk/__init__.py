"""The desk: a local page over job folders, for people who never open a terminal. `sizing.desk.app` is the door."""
