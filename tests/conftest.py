"""Keeps the long campaigns for when they are asked for."""

from __future__ import annotations

import os

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Register the marker of the long campaigns."""
    config.addinivalue_line("markers", "soak: a long campaign, run only where RINGWRIGHT_SOAK=1")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip the long campaigns unless RINGWRIGHT_SOAK=1."""
    if os.environ.get("RINGWRIGHT_SOAK") == "1":
        return
    skip = pytest.mark.skip(reason="a long campaign: set RINGWRIGHT_SOAK=1")
    for item in items:
        if item.get_closest_marker("soak") is not None:
            item.add_marker(skip)
