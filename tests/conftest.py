"""Keeps the long campaigns for when they are asked for, and says what did not run for want of a browser."""

from __future__ import annotations

import os
import shutil
import tempfile

import pytest

MADE: list[str] = []
"""The folder in which the processes of this run share their plans, where this process made it."""


def pytest_configure(config: pytest.Config) -> None:
    """Register the marker of the long campaigns."""
    config.addinivalue_line("markers", "soak: a long campaign, run only where RINGWRIGHT_SOAK=1")
    config.addinivalue_line("markers", "page: needs Chromium and playwright; `make test-page` installs both")
    if "PYTEST_XDIST_WORKER" not in os.environ:
        MADE.append(tempfile.mkdtemp(prefix="ringwright-plans-"))
        os.environ["RINGWRIGHT_TEST_PLANS"] = MADE[0]


def pytest_unconfigure() -> None:
    """Take away the plans that were shared."""
    if MADE:
        os.environ.pop("RINGWRIGHT_TEST_PLANS", None)
        shutil.rmtree(MADE.pop(), ignore_errors=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip the long campaigns unless RINGWRIGHT_SOAK=1."""
    if os.environ.get("RINGWRIGHT_SOAK") == "1":
        return
    skip = pytest.mark.skip(reason="a long campaign: set RINGWRIGHT_SOAK=1")
    for item in items:
        if item.get_closest_marker("soak") is not None:
            item.add_marker(skip)


@pytest.fixture
def shared_plans(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands plan no scenario that some test of this run has planned already: what they show of it is tested."""
    from ringwright.tests.planned import shared_plan

    monkeypatch.setattr("ringwright.optimizer.plan.make_plan", shared_plan)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say that the tests of the page did not run, and how they would."""
    skipped = [one.longrepr[2] for one in terminalreporter.stats.get("skipped", []) if isinstance(one.longrepr, tuple)]
    wanting = [reason.removeprefix("Skipped: ") for reason in skipped if reason.endswith("make test-page")]
    if "not page" in str(terminalreporter.config.option.markexpr):
        terminalreporter.write_line("the page in a browser was left out: make test-page")
    for reason in sorted(set(wanting)):
        terminalreporter.write_line(f"{wanting.count(reason)} tests of the page did not run: {reason}")
