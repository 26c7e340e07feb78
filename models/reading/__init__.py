"""From text to validated values."""
