"""Folders of what is written for a job: whole, or not at all."""
