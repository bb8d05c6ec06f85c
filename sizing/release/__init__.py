"""Decisions of people, and what may be handed over."""
