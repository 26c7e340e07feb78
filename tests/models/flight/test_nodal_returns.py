"""Months by the map from node to node, against scipy's integration of the same forces, written down here once more."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ringwright.models.bodies import body
from ringwright.models.deadline import OutOfTimeError, searching
from ringwright.models.flight import nodal_returns, stepping
from ringwright.models.flight.nodal_returns import coast_by_returns
from ringwright.models.oblateness import ring_state
from ringwright.tests.tolerances import CENTIMETER_M, MONTHS_M, SUMMED_M_S

EARTH = body("earth")
DAY_S = 86_400.0


def _start(altitude_km: float, inclination_deg: float, angle_rad: float, kick_m_s: float) -> np.ndarray:
    radius = EARTH.radius_m + 1e3 * altitude_km
    position, velocity = ring_state(EARTH, radius, angle_rad, math.radians(inclination_deg), 0.3)
    return np.concatenate([position, velocity * (1.0 + kick_m_s / float(np.linalg.norm(velocity)))])


def _by_scipy(start: np.ndarray, duration_s: float) -> np.ndarray:
    """Ends (6, n), by the equations of motion with J2 in Cartesian components (Vallado 2013, section 8.7.1)."""
    gm, j2, size = EARTH.gm, EARTH.j2, EARTH.j2_radius_m

    def rates(_: float, flat: np.ndarray) -> np.ndarray:
        s = flat.reshape(start.shape)
        r = np.sqrt(np.sum(s[:3] ** 2, axis=0))
        common = -1.5 * j2 * gm * size**2 / r**5
        level = -gm / r**3 + common * (1.0 - 5.0 * (s[2] / r) ** 2)
        return np.concatenate([s[3:].ravel(), s[0] * level, s[1] * level, s[2] * (level + 2.0 * common)])

    found = solve_ivp(rates, (0.0, duration_s), start.ravel(), method="DOP853", rtol=3e-14, atol=1e-7)
    return np.asarray(found.y[:, -1]).reshape(start.shape)


CASES = [
    _start(900.0, 66.0, 1.0, 0.0),
    _start(1500.0, 63.4, 2.0, 1.5),
    _start(700.0, 90.0, 6.0, -1.0),
    _start(800.0, 140.0, 0.0, 3.0),
    # too eccentric for the fit: flown all the way
    _start(800.0, 66.0, 4.7, 30.0),
    # too near to the equator
    _start(800.0, 2.0, 1.0, 0.0),
]


def test_orbits_one_by_one_end_where_all_at_once_do(monkeypatch: pytest.MonkeyPatch) -> None:
    start, last = np.array(CASES[:4]).T, np.array([20.0, 31.0, 45.0, 60.0]) * DAY_S
    alone = coast_by_returns(EARTH, start, last, 1e-12)
    monkeypatch.setattr(nodal_returns, "FEW", 0)
    together = coast_by_returns(EARTH, start, last, 1e-12)
    assert np.array_equal(alone, together)


def test_a_wait_of_days_ends_where_scipy_says() -> None:
    start, last = np.array(CASES).T, 1.7 * DAY_S
    found, wanted = coast_by_returns(EARTH, start, np.full(len(CASES), last), 1e-12), _by_scipy(start, last)
    assert np.all(np.linalg.norm(found[:3] - wanted[:3], axis=0) < CENTIMETER_M)
    assert np.all(np.linalg.norm(found[3:] - wanted[3:], axis=0) < SUMMED_M_S)


def test_what_the_map_does_not_follow_is_flown(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[float] = []
    real = stepping.coast

    def counted(gravity: object, start: np.ndarray, duration_s: np.ndarray, *more: object) -> object:
        asked.append(float(duration_s.max()))
        return real(gravity, start, duration_s, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(nodal_returns, "coast", counted)
    lasts = np.full(1, 1.7 * DAY_S)
    coast_by_returns(EARTH, CASES[0][:, np.newaxis], lasts, 1e-12)
    assert max(asked) < 0.1 * DAY_S
    for case in CASES[4:]:
        asked.clear()
        coast_by_returns(EARTH, case[:, np.newaxis], lasts, 1e-12)
        assert max(asked) == lasts[0]


def test_months_are_followed_as_days_are() -> None:
    # the way of months is that of its two halves, one after the other
    start, months = CASES[0][:, np.newaxis], np.full(1, 100.0 * DAY_S)
    whole = coast_by_returns(EARTH, start, months, 1e-12)
    half = coast_by_returns(EARTH, coast_by_returns(EARTH, start, 0.5 * months, 1e-12), 0.5 * months, 1e-12)
    assert np.linalg.norm(whole[:3] - half[:3]) < MONTHS_M


def test_a_long_wait_can_be_ended() -> None:
    with pytest.raises(OutOfTimeError), searching(lambda: -1.0):
        coast_by_returns(EARTH, CASES[0][:, np.newaxis], np.full(1, 100.0 * DAY_S), 1e-12)
