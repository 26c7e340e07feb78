"""How near an orbit that touches the ring passes somebody on it, against motion by scipy's integrator."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ringwright.models.meetings import passes_around
from ringwright.models.ring import Ring

GM, RADIUS = 4.2e13, 5.0e6
RING = Ring(radius_m=RADIUS, slots=3, rate_rad_s=float(np.sqrt(GM / RADIUS**3)), slot0_rad=0.0, gm=GM)
SEPARATION = 150e3


def _least(speed: float, ahead: float, *, before: bool) -> float:
    """Least distance over the revolution after a touch, or before it, by numerical integration (scipy DOP853)."""
    semi = 1.0 / (2.0 / RADIUS - speed**2 / GM)
    turn = 2.0 * np.pi * np.sqrt(semi**3 / GM) * (-1.0 if before else 1.0)

    def pull(_: float, y: np.ndarray) -> list[float]:
        distance = np.hypot(y[0], y[1])
        return [y[2], y[3], -GM * y[0] / distance**3, -GM * y[1] / distance**3]

    times = np.linspace(0.0, turn, 4001)
    flown = solve_ivp(pull, (0.0, turn), [RADIUS, 0.0, 0.0, speed], "DOP853", times, rtol=1e-10, atol=1e-3)
    angle = ahead + RING.rate_rad_s * times
    return float(np.hypot(flown.y[0] - RADIUS * np.cos(angle), flown.y[1] - RADIUS * np.sin(angle)).min())


@pytest.mark.parametrize("before", [False, True], ids=["after", "before"])
def test_a_low_orbit_is_looked_at_all_the_way_round(before: bool) -> None:
    generator = np.random.default_rng(11)
    slip = generator.uniform(-0.03, 0.03, 80)
    # at the touches between which the orbit drifts past, and beyond them
    ahead = generator.uniform(-0.2, 0.15, 80)
    speed = RING.speed_m_s * (1.0 + slip)
    hit, until = passes_around(RING, speed, ahead, SEPARATION, before=before)
    least = np.array([_least(v, a, before=before) for v, a in zip(speed, ahead, strict=True)])
    semi = 1.0 / (2.0 / RADIUS - speed**2 / GM)
    low = 2.0 * np.abs(semi - RADIUS) < 3.2 * SEPARATION
    clear = low & (np.abs(least / SEPARATION - 1.0) > 0.01)
    assert np.count_nonzero(clear & (least < SEPARATION)) > 5
    assert np.count_nonzero(clear & (least > SEPARATION)) > 5
    assert np.array_equal(hit[clear], least[clear] < SEPARATION)
    assert not hit[~low].any()
    assert np.array_equal(np.isnan(until), ~hit)


def test_what_is_over_by_the_epoch_does_not_count() -> None:
    speed, ahead = np.array([RING.speed_m_s * 1.005]), np.array([0.0])
    hit, _ = passes_around(RING, speed, ahead, SEPARATION, before=True)
    late, _ = passes_around(RING, speed, ahead, SEPARATION, before=True, since_s=np.array([0.0]))
    assert hit[0]
    assert not late[0]
