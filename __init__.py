"""Ringwright: plans evenly spaced relay rings, fuel against time."""

from __future__ import annotations

__version__ = "0.1.0"
