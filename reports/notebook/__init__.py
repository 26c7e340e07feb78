"""Answers for a notebook: data frames in SI units, text, and pictures that show themselves."""
