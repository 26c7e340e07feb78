"""Chosen options flown, and read off as plans."""
