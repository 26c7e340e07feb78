"""How craft in space turn their planes back into the ring's, from which those of their phasing orbits drift.

Over an oblate body the node of a phasing orbit drifts by another rate than the ring's. Planes of one inclination and
slightly different nodes cross farthest from the equator. A burn anywhere tilts a plane about the line through it; so
the tilt is a sum of one about the line of the touches, taken in the burns there as vector sums (Vallado 2013, section
6.5, combined maneuvers), and the rest in a burn by itself where that rest asks for it. Shared in the ratio of the burns
a1 and a2 at the touches, which is the least, a part x across costs the root of (a1 + a2)^2 + x^2 in place of a1 + a2.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...models import orbits
from ...models.oblateness import node_behind
from ...models.planes import turn_delta_v
from ...models.ring import Ring
from ...models.scenario import Body, Orbit
from ..problem.in_space import Standing
from ..problem.options import F, Options

DRIFT_RAD = 2e-5
"""Planes that drift apart by less than this are left so: 0.001 deg, a tenth of what counts as a tilt."""

INSIDE_RAD = np.deg2rad(0.006)
"""A tilt left on purpose is planned so far inside of what the ring allows: secular rates are as good as that."""

SHARES = np.linspace(0.0, 1.0, 9)
"""Of what the touches could take without making the rest larger: the cheapest of these is planned."""

APART_MIN = 0.5
"""Sine of the least angle between both places of burns across: nearer ones would have to be large to aim a plane."""

NODE_RAD = 1e-9
"""A place no farther than this is here."""


@dataclass(frozen=True, kw_only=True)
class Turn:
    """How planes are turned back, for n options: arrays of shape (n,).

    Args:
        at_touch_rad: about the line through the touches of the ring, in the burns there; positive as a burn along the
            pole turns it.
        apart_rad: about another line, in a burn by itself.
        apart_angle_rad: argument of latitude of that burn, along the pole; half a turn from there against it. A quarter
            turn from the touches where these take all: what the flight finds left is aimed from there.
        delta_v_m_s: the burns at the touches and the one apart.
    """

    at_touch_rad: F
    apart_rad: F
    apart_angle_rad: F
    delta_v_m_s: F


def drift_of(body: Body, ring: Ring, start: Standing, orbit: Orbit, options: Options, tolerance_rad: float) -> F:
    """By how much craft in space must turn their planes back, rad, (n,); signed as nodes are behind.

    To what the ring allows, and no further: 0 where the planes do not drift apart by more than that.
    """
    if ring.node_rate_rad_s == 0.0:
        return np.zeros(len(options))
    other = orbits.other_apsis(ring.gm, ring.radius_m, options.speed_m_s)
    stages: list[tuple[F, F, F]] = [(other, np.full(other.size, ring.radius_m), options.phasing_s)]
    if not start.on_ring:
        own = options.burn_s - orbit.at_s
        stages.append((np.full(own.size, orbit.periapsis_m), np.full(own.size, orbit.apoapsis_m), own))
    apart = node_behind(body, ring.inclination_rad, ring.radius_m, stages) * np.sin(ring.inclination_rad)
    more = np.sign(apart) * (np.abs(apart) - max(tolerance_rad - INSIDE_RAD, 0.0))
    return np.where(np.abs(apart) > max(tolerance_rad, DRIFT_RAD), more, 0.0)


def turn_back(body: Body, ring: Ring, start: Standing, orbit: Orbit, options: Options, tolerance_rad: float) -> Turn:
    """The cheapest sharing of the turn of each option, among `SHARES`."""
    level = options.revolutions == 0
    first = np.abs(np.where(level, ring.speed_m_s, options.speed_m_s) - start.speed_m_s)
    along = first + np.where(level, 0.0, np.abs(ring.speed_m_s - options.speed_m_s))
    back = drift_of(body, ring, start, orbit, options, tolerance_rad)
    touch = ring.phase(options.finish_s - options.turn_after_s, options.slot)
    return shared(ring, along, back, touch)


def shared(ring: Ring, along_m_s: F, back_rad: F, touch_rad: F) -> Turn:
    """The cheapest sharing of turns, among `SHARES`; the cost grows with both the burns along the track and the turn.

    Args:
        along_m_s: burns along the track at the touches, together, (n,).
        back_rad: the turn about the line farthest from the equator, signed as nodes are behind, (n,).
        touch_rad: argument of latitude of the touches, (n,).
    """
    along, back, touch = along_m_s[:, None], back_rad[:, None], touch_rad[:, None]
    at = SHARES * back * np.sin(touch)
    x, y = -at * np.cos(touch), back - at * np.sin(touch)
    rest = np.hypot(x, y)
    cost = np.hypot(along, turn_delta_v(ring.speed_m_s, at)) + turn_delta_v(ring.speed_m_s, rest)
    near = (np.abs(x * np.sin(touch) - y * np.cos(touch)) < APART_MIN * rest) & (SHARES < 1.0)
    rows, best = np.arange(back.size), np.argmin(np.where(near, np.inf, cost), axis=1)
    rest, x, y = rest[rows, best], x[rows, best], y[rows, best]
    return Turn(
        at_touch_rad=at[rows, best],
        apart_rad=rest,
        apart_angle_rad=np.where(rest > DRIFT_RAD, np.arctan2(y, x), touch_rad + 0.5 * np.pi),
        delta_v_m_s=cost[rows, best],
    )


def turned_back(
    body: Body, ring: Ring, start: Standing, orbit: Orbit, options: Options, tolerance_rad: float
) -> Options:
    """Options of a craft in space with the cost of turning its plane back into the ring's, where they drift apart.

    A burn apart comes within the last phasing revolution; where there is none, within half a turn after the burn at the
    ring.
    """
    if ring.node_rate_rad_s == 0.0:
        return options
    turn = turn_back(body, ring, start, orbit, options, tolerance_rad)
    turns = (turn.at_touch_rad != 0.0) | (turn.apart_rad != 0.0)
    there = ring.phase(options.finish_s, options.slot)
    ahead = np.maximum(np.remainder(turn.apart_angle_rad - there + NODE_RAD, np.pi) - NODE_RAD, 0.0)
    after = np.where((options.revolutions == 0) & turns, ahead / ring.rate_rad_s, 0.0)
    return replace(options, turn_after_s=after, finish_s=options.finish_s + after, delta_v_m_s=turn.delta_v_m_s)
