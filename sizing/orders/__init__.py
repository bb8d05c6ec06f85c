"""Sizing rules, and the order that follows from readings."""
