"""Flights of several burns into a slot, many at once, with exact derivatives.

Units: ring radius 1, GM 1, so that the circular speed is 1 and a ring period 2 pi. The ring lies in the first two
axes and turns from the first to the second; a third axis, where there is one, is its pole. Arrays put components
first and cases last: vectors are (d, B), scalars (B,).

The unknowns of a flight of N burns are its burn times and all burns but the last: n = N + (N - 1) d numbers, in an
array ``unknowns`` of shape (n, B). The last burn is whatever gives the speed of the slot; that the craft is then where
the slot is, is the constraint ``miss`` = 0.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models.apsis_sensitivity import Held, apoapsis_held, periapsis_held
from ...models.arrays import Array, dot
from ...models.kepler import Arc, Universal, fly, pull_back

Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Cases:
    """Questions to be solved side by side.

    Args:
        position, velocity: state at time 0, shape (d, B).
        slot_angle: angle of the slot at time 0 from the first axis, rad, (B,).
        allowed: latest time of the last burn.
        latest_first: latest time of the first burn, infinite where it may wait.
        floor, ceiling: lowest and highest radius after the first burn; 0 and infinite where there is none.
    """

    position: Array
    velocity: Array
    slot_angle: Array
    allowed: Array
    latest_first: Array
    floor: Array
    ceiling: Array

    @property
    def size(self) -> int:
        """Number of dimensions d."""
        return len(self.position)

    def __len__(self) -> int:
        return len(self.allowed)

    def take(self, index: NDArray[np.int64] | Mask) -> Cases:
        """Some of the cases, in the order of ``index``, which may repeat them."""
        return Cases(**{field.name: getattr(self, field.name)[..., index] for field in fields(self)})


class Chain(NamedTuple):
    """Flown flights: burn times (N, B), burns (N, d, B), arcs between them, and where the last arc misses the slot."""

    times: Array
    burns: Array
    arcs: tuple[Arc, ...]
    miss: Array
    slot: Array
    slot_speed: Array

    @property
    def cost(self) -> Array:
        """Sum of the burns' sizes, (B,)."""
        return np.asarray(np.sqrt((self.burns**2).sum(axis=1)).sum(axis=0))

    def take(self, index: NDArray[np.int64]) -> Chain:
        """Some of the flights, in the order of ``index``."""
        return Chain(
            self.times[:, index],
            self.burns[..., index],
            tuple(_arc_of(arc, index) for arc in self.arcs),
            self.miss[:, index],
            self.slot[:, index],
            self.slot_speed[:, index],
        )


def _arc_of(arc: Arc, index: NDArray[np.int64]) -> Arc:
    universal = Universal(*(part[index] for part in arc.universal))
    parts = (getattr(arc, name)[..., index] for name in Arc._fields[:-1])
    return Arc._make((*parts, universal))


class Bound(NamedTuple):
    """One radius limit on one arc: value = sign (radius - limit), kept at or above zero.

    ``held`` is the arc's apsis where ``at_apsis`` is true, else the radius where it begins.
    """

    arc: int
    sign: float
    held: Held
    value: Array
    at_apsis: bool


def fly_chain(cases: Cases, unknowns: Array, burns: int) -> Chain:
    """Fly all flights to their last burn.

    Raises:
        FlightError: an arc is degenerate.
    """
    size = cases.size
    times = unknowns[:burns]
    kicks = unknowns[burns:].reshape(burns - 1, size, -1)
    coast = fly(cases.position, cases.velocity, times[0])
    position, velocity = coast.end, coast.end_speed
    arcs = []
    for index in range(burns - 1):
        arc = fly(position, velocity + kicks[index], times[index + 1] - times[index])
        arcs.append(arc)
        position, velocity = arc.end, arc.end_speed
    angle = cases.slot_angle + times[-1]
    slot, speed = np.zeros_like(position), np.zeros_like(position)
    slot[0], slot[1] = np.cos(angle), np.sin(angle)
    speed[0], speed[1] = -slot[1], slot[0]
    everything = np.concatenate([kicks, (speed - velocity)[None]])
    return Chain(times, everything, tuple(arcs), position - slot, slot, speed)


def _of_arc(every: Held, index: int) -> Held:
    """The apsis of one arc out of those of several that were worked out side by side."""
    start, start_speed, end, end_speed = (
        slope[:, index] for slope in (every.by_start, every.by_start_speed, every.by_end, every.by_end_speed)
    )
    return Held(every.radius[index], start, start_speed, end, end_speed, every.passed[index])


def bounds_on(cases: Cases, chain: Chain, rounding: Array | float, *, floor: bool, ceiling: bool) -> list[Bound]:
    """The radius limits after the first burn: on every arc's apsis, and where every arc begins.

    ``rounding`` as in :func:`..models.kepler.periapsis_held`.
    """
    found = []
    together = _side_by_side(chain.arcs)
    none, nowhere = np.zeros_like(chain.miss), np.zeros(len(cases), np.bool_)
    for wanted, apsis, sign, limit in (
        (floor, periapsis_held, 1.0, cases.floor),
        (ceiling, apoapsis_held, -1.0, cases.ceiling),
    ):
        if not wanted:
            continue
        every = apsis(together, rounding)
        for index, arc in enumerate(chain.arcs):
            at_apsis = _of_arc(every, index)
            begin = Held(arc.start_radius, arc.start / arc.start_radius, none, none, none, nowhere)
            for held, is_apsis in ((at_apsis, True), (begin, False)):
                found.append(Bound(index, sign, held, sign * (held.radius - limit), is_apsis))
    return found


def _side_by_side(arcs: tuple[Arc, ...]) -> Arc:
    """All arcs of flights as one: vectors are (d, N - 1, B), scalars (N - 1, B)."""
    universal = Universal(*map(np.array, zip(*(arc.universal for arc in arcs), strict=True)))
    parts = (np.array(part) for part in zip(*(arc[:-1] for arc in arcs), strict=True))
    return Arc._make((*(part.swapaxes(0, 1) if part.ndim == 3 else part for part in parts), universal))


def all_gradients(chain: Chain, bounds: list[Bound]) -> tuple[Array, Array, Array]:
    """Derivatives of the miss, of the last burn and of every bound with respect to the unknowns.

    Returns:
        Shapes (d, n, B), (d, n, B) and (len(bounds), n, B).
    """
    size, count = chain.miss.shape
    rows = 2 * size + len(bounds)
    on_miss, on_last = np.zeros((size, rows, count)), np.zeros((size, rows, count))
    for axis in range(size):
        on_miss[axis, axis] = 1.0
        on_last[axis, size + axis] = 1.0
    loads: list[Load | None] = [None] * len(chain.arcs)
    for row, bound in enumerate(bounds, start=2 * size):
        load = loads[bound.arc]
        if load is None:
            loads[bound.arc] = load = Load(*(np.zeros((size, rows, count)) for _ in range(4)))
        for part, of_bound in zip(load, bound.held[1:5], strict=True):
            part[:, row] = bound.sign * of_bound
    out = sweep(chain, on_miss, on_last, loads)
    return out[:size], out[size : 2 * size], out[2 * size :]


def weighted_gradient(chain: Chain, on_miss: Array, on_last: Array, bounds: list[Bound], weights: Array) -> Array:
    """Derivative of on_miss . miss + on_last . last burn + the weighted sum of bounds, shape (n, B)."""
    loads: list[Load | None] = [None] * len(chain.arcs)
    for bound, weight in zip(bounds, weights, strict=True):
        load, signed = loads[bound.arc], bound.sign * weight
        parts = [signed * part for part in bound.held[1:5]]
        if load is not None:
            parts = [part + old[:, 0] for part, old in zip(parts, load, strict=True)]
        loads[bound.arc] = Load(*(part[:, None] for part in parts))
    gradient: Array = sweep(chain, on_miss[:, None], on_last[:, None], loads)[0]
    return gradient


class Load(NamedTuple):
    """Sensitivities of K quantities to the state at the beginning and at the end of one arc, each (d, K, B)."""

    on_start: Array
    on_start_speed: Array
    on_end: Array
    on_end_speed: Array


def sweep(chain: Chain, on_miss: Array, on_last: Array, loads: list[Load | None]) -> Array:
    """Derivatives of K quantities with respect to the unknowns, by one pass backwards over the arcs.

    Moving a burn later by dt moves the craft by -(burn) dt there, since gravity is the same before and after it.

    Args:
        chain: flown flights.
        on_miss, on_last: derivatives of the quantities with respect to the miss and the last burn, (d, K, B).
        loads: and with respect to each arc, None where there is no such dependence.

    Returns:
        Shape (K, n, B).
    """
    size, rows, count = on_miss.shape
    last = len(chain.arcs)
    out = np.empty((rows, last + 1 + last * size, count))
    position, velocity = on_miss, -on_last
    out[:, last] = -dot(on_miss, chain.slot_speed) - dot(on_last, chain.slot)
    for index in range(last - 1, -1, -1):
        arc, load = chain.arcs[index], loads[index]
        if load is not None:
            position, velocity = position + load.on_end, velocity + load.on_end_speed
        if index == last - 1:
            out[:, last] += _along(arc.end, arc.end_speed, arc.end_radius, position, velocity)
        elif load is not None:
            out[:, index + 1] += _along(arc.end, arc.end_speed, arc.end_radius, load.on_end, load.on_end_speed)
        position, velocity = pull_back(arc, position, velocity)
        out[:, index] = 0.0
        if load is not None:
            position, velocity = position + load.on_start, velocity + load.on_start_speed
            out[:, index] = _along(arc.start, arc.start_speed, arc.start_radius, load.on_start, load.on_start_speed)
        out[:, index] -= dot(position, chain.burns[index])
        first = last + 1 + index * size
        out[:, first : first + size] = velocity.swapaxes(0, 1)
    return out


def _along(position: Array, velocity: Array, radius: Array, on_position: Array, on_velocity: Array) -> Array:
    """What time alone does to quantities of a coasting state."""
    return dot(on_position, velocity) - dot(on_velocity, position) / radius**3
