"""What a burn took at least, from the orbits before and after it."""

from __future__ import annotations

import math

import numpy as np

from ...models import oblate_coast as coast
from ...models.arrays import Array
from ...models.flight.gravity import potential
from ...models.oblateness import ring_state
from ...models.reading.observed import Seen
from ...models.ring import Ring
from ...models.scenario import Body, Scenario, on_ring


def state_seen(scenario: Scenario, ring: Ring, seen: Seen) -> tuple[Array, Array, float]:
    """Position, m, and velocity, m/s, of a craft whose orbit was seen, and when it was there."""
    if seen.state is not None:
        return np.array(seen.state[:3]), np.array(seen.state[3:]), seen.state_s
    orbit = seen.orbit
    if orbit is None:
        raise ValueError(f"nothing was seen of the orbit of {seen.name}")
    with_ring = orbit.circular and on_ring(orbit.periapsis_m, ring.radius_m)
    if scenario.body.j2 == 0.0:
        return *coast.point_mass_state(ring, orbit, orbit.at_s, on_ring=with_ring), orbit.at_s
    if with_ring:
        node = ring.node(orbit.at_s, orbit.plane)
        return *ring_state(scenario.body, ring.radius_m, orbit.angle_rad, ring.inclination_rad, node), orbit.at_s
    return *coast.state_as_given(scenario.body, ring, orbit), orbit.at_s


def least_burn_m_s(body: Body, before: Array, position: Array, velocity: Array) -> float:
    """Least delta-v of one burn, m/s, from the orbit that a craft was on to one that it was seen on later.

    At the place of the burn the speeds on the two orbits follow from their energies, which a coast keeps, oblateness
    included; a burn changes the speed by no more than its own size. Where the orbit seen does not reach that place,
    its speed there counts as 0.

    Args:
        before: state just before the burn, shape (6,), m and m/s.
        position, velocity: state seen after it, m and m/s.
    """
    there = float(potential(body, before[:3]))
    energy = 0.5 * float(velocity @ velocity) + float(potential(body, position))
    after = math.sqrt(max(2.0 * (energy - there), 0.0))
    return abs(after - float(np.linalg.norm(before[3:])))
