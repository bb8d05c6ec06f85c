"""Sheets and guide to print."""
