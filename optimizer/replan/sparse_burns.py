"""The cheapest way to take an error off: which burns to change or to add, by the linearized flight.

A craft is off its plan. Burns may be changed, or added at any of some moments; what each component of each of them does
to slot, period, shape and plane is read off flights beside the one as it is. The least sum of burn sizes that meets the
targets under this linear model takes no more burns than there are targets (Neustadt 1964, Optimization, a moment
problem, and nonlinear programming); it is found by least squares weighted again and again with the burns found so far
(Lawson 1961; Daubechies, DeVore, Fornasier and Gunturk 2010), which comes near the least and is not proved to be it.
The corrector then flies what is found here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.errors import FlightError
from ...models.flight.gravity import Gravity
from ...models.flight.integrate import Impulse, Itinerary, fly_each, measure
from ...models.ring import Ring
from ..trajectory.differential_correction import Target

_DIFFERENCE = 1e-5
"""Step of the finite differences, in circular speeds."""
_RELATIVE = 1e-10
"""Error allowed in a step of these flights: far below the differences taken of them."""
_ROUNDS = 60
_FLOOR, _FADES = 1e-3, 0.75
"""What every burn is held to be at least when weighing, in circular speeds, and what is left of that each round."""
_FEWER = 0.6
"""Power of the squared size in the weight: one half is the least sum; a little more makes fewer burns of alike ones."""
_CHANGE_MOST = 0.02
"""A burn changed by more of the circular speed than this is beyond the linear model."""
_MET = 1e-6
"""A target that is missed by more than this cannot be met by the burns allowed."""
LEAST_M_S = 0.01
"""Burns smaller than this are left out."""

ROWS = {"slot": (0,), "period": (1,), "eccentricity": (2, 3), "plane": (4, 5)}
"""Which of the misses belong to a target."""


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A craft and what it may do.

    Args:
        start_s, position, velocity: where it is.
        burns: that it is to make, in order of time.
        times: moments at which it may burn besides, s.
        plane, slot: where it is to be.
        shape: the eccentricity vector to end with.
    """

    start_s: float
    position: Array
    velocity: Array
    burns: tuple[Impulse, ...]
    times: tuple[float, ...]
    plane: int
    slot: int
    shape: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Found:
    """Burns in order of time, the sum of their sizes by the linear model, and which targets they were found for."""

    burns: tuple[Impulse, ...]
    delta_v_m_s: float
    targets: tuple[Target, ...]


def least_burns(
    ring: Ring, gravity: Gravity, asked: Sequence[Asked], *, swing_rad: float, tilt_rad: float
) -> list[list[Found]]:
    """For each craft the cheapest burns that end at each of the moments from its last burn on.

    Args:
        gravity: what pulls.
        swing_rad: twice the eccentricity that may be left; shape is met too where more would be, and without regard.
        tilt_rad: tilt that may be left; where more would be, the plane is met too.

    Returns:
        For each craft, in the order of the ends; ways beyond the linear model are left out. None at all for a craft
        whose flight cannot be measured.
    """
    grids, items = [], []
    for one in asked:
        times = sorted({burn.time_s for burn in one.burns} | set(one.times))
        planned = {burn.time_s: burn for burn in one.burns}
        base = [planned.get(time, Impulse(time, 0.0, 0.0)) for time in times]
        grids.append(base)
        step = _DIFFERENCE * ring.speed_m_s
        beside = [_beside(base, k, part, step) for k in range(len(base)) for part in range(3)]
        items += [Itinerary.through_turn(one.start_s, one.position, one.velocity, b, ring) for b in (base, *beside)]
    flights = iter(fly_each(items, gravity, whole=False, relative=_RELATIVE))
    found: list[list[Found]] = []
    for one, base in zip(asked, grids, strict=True):
        own = [next(flights) for _ in range(1 + 3 * len(base))]
        whole = [flight for flight in own if flight is not None]
        if len(whole) < len(own):
            found.append([])
            continue
        try:
            misses = np.stack([measure(flight, ring, one.plane, one.slot).misses(ring) for flight in whole])
        except FlightError:
            found.append([])
            continue
        misses[:, 2:4] -= one.shape
        plane: tuple[Target, ...] = ("plane",) if math.hypot(*misses[0, 4:]) > tilt_rad else ()
        round_: tuple[Target, ...] = ("slot", "period", "eccentricity", *plane)
        targets = [round_]
        if 2.0 * math.hypot(*misses[0, 2:4]) <= swing_rad:
            targets.append(("slot", "period", *plane))
        found.append(_ways(ring, one, base, misses, targets))
    return found


def _beside(base: Sequence[Impulse], which: int, part: int, step: float) -> list[Impulse]:
    moved = list(base[which])
    moved[1 + part] += step
    return [*base[:which], Impulse(*moved), *base[which + 1 :]]


def _ways(
    ring: Ring, one: Asked, base: Sequence[Impulse], misses: Array, targets: Sequence[tuple[Target, ...]]
) -> list[Found]:
    """The ways of one craft."""
    gap = misses[0]
    slope = (misses[1:] - gap) / _DIFFERENCE
    # an angle that went once round between two flights beside each other
    slope[:, 0] = (np.mod(misses[1:, 0] - gap[0] + math.pi, 2.0 * math.pi) - math.pi) / _DIFFERENCE
    law = slope.T
    times = np.array([burn.time_s for burn in base])
    planned = np.array([burn[1:4] for burn in base]) / ring.speed_m_s
    wanted = law @ planned.ravel() - gap
    last = max([one.burns[-1].time_s] if one.burns else [times[0]])
    ends = times[times >= last]
    allowed = times <= ends[:, np.newaxis]
    found = []
    for names in targets:
        # a plane that need not be met stays as it is
        held = () if "plane" in names else ROWS["plane"]
        rows = [*(row for name in names for row in ROWS[name]), *held]
        goal = wanted.copy()
        goal[list(held)] += gap[list(held)]
        burns = _least(law[rows], goal[rows], allowed)
        sizes = np.linalg.norm(burns, axis=2)
        changed = np.linalg.norm(burns - planned, axis=2).max(axis=1)
        missed = np.abs(burns.reshape(len(ends), -1) @ law[rows].T - goal[rows]).max(axis=1)
        for k in np.flatnonzero((changed < _CHANGE_MOST) & (missed < _MET)):
            keep = sizes[k] * ring.speed_m_s > LEAST_M_S
            made = [
                Impulse(float(times[i]), *(float(x) * ring.speed_m_s for x in burns[k, i]))
                for i in np.flatnonzero(keep)
            ]
            if made:
                total = math.fsum(burn.delta_v_m_s for burn in made)
                found.append(Found(burns=tuple(made), delta_v_m_s=total, targets=names))
    return found


def _least(law: Array, wanted: Array, allowed: NDArray[np.bool_]) -> Array:
    """Burns of the least sum of sizes with ``law @ burns = wanted``, for several sets of allowed moments.

    Args:
        law: (targets, 3 times).
        wanted: (targets,).
        allowed: (sets, times).

    Returns:
        (sets, times, 3).
    """
    sets, count = allowed.shape
    weight = allowed.astype(np.float64)
    floor = _FLOOR
    scale = np.linalg.norm(law, axis=1)
    law, wanted = law / scale[:, np.newaxis], wanted / scale
    burns = np.zeros((sets, count, 3))
    for _ in range(_ROUNDS):
        spread = np.repeat(weight, 3, axis=1)
        weighed = law * spread[:, np.newaxis, :]
        normal = weighed @ law.T
        # a target that nothing allowed moves is left
        normal += 1e-14 * np.trace(normal, axis1=1, axis2=2)[:, np.newaxis, np.newaxis] * np.eye(len(wanted))
        price = np.linalg.solve(normal, np.broadcast_to(wanted[:, np.newaxis], (sets, len(wanted), 1)))[..., 0]
        burns = (spread * (price @ law)).reshape(sets, count, 3)
        floor *= _FADES
        weight = allowed * np.power(np.sum(np.square(burns), axis=2) + floor**2, _FEWER)
    return burns
