"""Worked scenarios, each a story with a question."""
