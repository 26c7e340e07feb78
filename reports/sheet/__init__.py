"""Maneuver sheets, one page a craft."""
