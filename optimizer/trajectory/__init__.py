"""Chosen options as flights: courses, corrections, and limits as flown."""
