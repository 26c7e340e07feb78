"""The scenario file that desks of these tests serve."""

from __future__ import annotations

from pathlib import Path

import pytest

from ringwright.tests.reports.desk.running import SMALL


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("desk") / "two.toml"
    place.write_text(SMALL, encoding="utf-8")
    return place
