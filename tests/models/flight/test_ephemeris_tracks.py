"""Where other bodies are: what holds it can be handed to another process, as planning on the desk does."""

from __future__ import annotations

import pickle
from datetime import UTC, datetime

import numpy as np
import pytest

from ringwright.models.flight.ephemeris import track

EPOCH = datetime(2033, 10, 2, tzinfo=UTC)


@pytest.mark.parametrize(
    ("center", "target"),
    [("earth", "sun"), ("earth", "moon"), ("moon", "earth"), ("moon", "sun"), ("mars", "sun"), ("titan", "sun")],
)
def test_tracks_are_the_same_in_another_process(center: str, target: str) -> None:
    found = track(center, target, EPOCH)
    assert found is not None
    times = np.array([0.0, 86_400.0])
    np.testing.assert_array_equal(pickle.loads(pickle.dumps(found)).position(times), found.position(times))
