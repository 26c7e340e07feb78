"""How long a ring keeps its spacing by the full forces, and the trims that keep it longer.

The craft's mean orbits are read off their flights after the plan, over the window of ``models/flight/smooth_mean.py``,
with the mean rates that were flown, and followed for years by averaged equations (``models/flight/averaged.py``). At
each time every craft's mean place is projected on the mean plane of its plane's craft; its angle there, less its slot's
place in the pattern and less the mean of that over all craft, is its error in the spacing. The hold ends when the first
is beyond the tolerance, or down.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from ...models import frames
from ...models.arrays import Array
from ...models.errors import FlightError
from ...models.flight.averaged import AveragedForces, MeanOrbits
from ...models.flight.drag import Air
from ...models.flight.flown import Flight
from ...models.flight.follow import Track, follow
from ...models.flight.forces import Field, Surfaces
from ...models.flight.harmonics import UnevenField
from ...models.flight.slow_ground import REACH_S, NearAndFar, follow_both, followed_on
from ...models.flight.smooth_mean import measure_smoothly, window, window_s
from ...models.keeping import drag_m_s2, east_west_m_s2
from ...models.reference import LEAST_LEAN
from ...models.ring import Ring
from ...models.scenario import Body
from ...models.surroundings import Surface
from ...models.synchronous import drift_rad_s2, stable_longitudes, uneven_part
from ...models.units import YEAR_S
from ..standing import ForcedHold, Trim
from .trims import east_west, schedule, yearly_m_s

LOOK_S = 10.0 * YEAR_S
"""How far ahead a ring that is to hold is followed at least."""
LOOK_MAX_S = 50.0 * YEAR_S

BAND_SHARE = 0.5
"""Dead band of the trims over the tolerance: two craft at opposite edges are then a tolerance apart."""

ROUND = 0.05
"""Eccentricity beyond which an orbit is no ring any more, and trims along the track keep nothing."""


@dataclass(frozen=True, kw_only=True)
class InRing:
    """A craft in the ring: its name, place (plane, slot), flight and surface."""

    name: str
    place: tuple[int, int]
    flight: Flight
    surface: Surface


def hold_by_forces(
    ring: Ring,
    body: Body,
    field: Field,
    craft: Sequence[InRing],
    from_s: float,
    *,
    tolerance_rad: float,
    look_s: float,
    maintained: bool = True,
    ground: float | None = None,
    floor_m: float = 0.0,
    nominal: bool = False,
) -> ForcedHold:
    """Follow craft from the window that begins at a moment.

    Args:
        ring: as the slots are under the forces, there (`reference.slots_and_flights`).
        craft: at least one, flown to the window's end; with ``nominal`` errors are against the last (see `alone.py`).
        look_s: how far ahead the ring is followed, `LOOK_MAX_S` at most.
        floor_m: lowest radius allowed; maintained: whether drag is made up for in the upkeep, or craft sink together.
        ground: angle of the prime meridian from the x axis at the epoch, for a ring whose slots keep their longitudes:
            craft then leave those, and no common shift is taken off.

    Raises:
        FlightError: a craft does not go round with the ring.
    """
    begin = from_s + 0.5 * window_s(ring)
    surfaces = Surfaces.of([one.surface for one in craft])
    free, airless = (NearAndFar.of(body, field, ring.radius_m, drag=drag) for drag in (True, False))
    start = _with_flown_rates(_mean_orbits(ring, body, craft, from_s), free.near, surfaces, ring, craft, from_s)
    end = begin + min(look_s, LOOK_MAX_S)
    sunk = maintained and any(isinstance(term, Air) for term in field.terms)
    track, kept = (_sinking_and_kept if sunk else _same)(free, airless, start, surfaces, (begin, end))
    errors_of = partial(_errors, ring=ring, craft=craft, ground=ground, nominal=nominal)
    errors = errors_of(track)
    first, leaves_s = _leaves(free, track, surfaces, errors_of, tolerance_rad)
    uneven = None if ground is None else uneven_part(field)
    if uneven is not None and ground is not None:
        times, left, trims = _over_ground(ring, uneven, craft, ground, errors[0], (begin, end), tolerance_rad)
    else:
        times, left, trims = _upkeep(kept, ring, craft, BAND_SHARE * tolerance_rad, nominal=nominal)
    return ForcedHold(
        craft=None if first is None else craft[first].name,
        leaves_s=leaves_s - begin,
        down=track.down is not None and first == track.down and leaves_s == float(track.times_s[-1]),
        lost=None if track.down is None else craft[track.down].name,
        names=tuple(one.name for one in craft),
        times_s=track.times_s,
        spacing_rad=errors,
        kept_times_s=times,
        kept_rad=left,
        band_rad=BAND_SHARE * tolerance_rad,
        trims=trims,
        trim_m_s_year=_yearly(ring, craft, times, trims, uneven, ground),
        make_up_m_s_year=max(_make_up_m_s2(field, ring, surfaces)) * YEAR_S if sunk else 0.0,
        **_shape(track, begin, tolerance_rad, floor_m),
        start=start,
        stable=() if uneven is None else stable_longitudes(uneven, ring.radius_m),
    )


def _same(
    free: NearAndFar, airless: NearAndFar, start: MeanOrbits, surfaces: Surfaces, span_s: tuple[float, float]
) -> tuple[Track, Track]:
    """One track for both, where no drag is made up for."""
    track = follow_both(free, start, surfaces, *span_s)
    return track, track


def _sinking_and_kept(
    free: NearAndFar, airless: NearAndFar, start: MeanOrbits, surfaces: Surfaces, span_s: tuple[float, float]
) -> tuple[Track, Track]:
    """Tracks with drag, until the first is down, and without: side by side, which takes little longer than one."""
    begin, end = span_s
    many = start.semi_major_m.size
    twice = MeanOrbits.together([start, start])
    met = Surfaces(np.append(surfaces.drag_m2_kg, np.zeros(many)), np.tile(surfaces.light_m2_kg, 2))
    both = follow_both(free, twice, met, begin, end)
    sinking = replace(both, rows=both.rows[:, :, :many], start=start)
    above = replace(both, rows=both.rows[:, :, many:], start=start, down=None)
    if both.down is None:
        return sinking, above
    if both.down >= many:
        return replace(sinking, down=None), replace(above, down=both.down - many)
    return sinking, followed_on(airless, above, surfaces, begin, end)


def _shape(track: Track, begin_s: float, tolerance_rad: float, floor_m: float) -> dict[str, float]:
    """From when and how far it was looked, the largest eccentricity, and when the first orbit is too oval for the
    tolerance (the angle swings by 2 e either way in a turn) or its periapsis too low."""
    e = np.linalg.norm(track.rows[:, 1:4], axis=1)
    low = np.min(track.rows[:, 0] * (1.0 - e), axis=1) < floor_m
    oval = np.max(2.0 * e, axis=1) > tolerance_rad
    after = [float(track.times_s[np.argmax(one)]) - begin_s if np.any(one) else math.inf for one in (oval, low)]
    looked = float(track.times_s[-1]) - begin_s
    shape = {"eccentricity": float(np.max(e)), "oval_s": after[0], "low_s": after[1]}
    return {"begin_s": begin_s, "looked_s": looked, **shape}


def _errors(track: Track, ring: Ring, craft: Sequence[InRing], ground: float | None, *, nominal: bool) -> Array:
    """Errors in the spacing along a track, (m, n), or against the longitudes of the slots."""
    if ground is None:
        return spacing(track, ring, [one.place for one in craft], nominal=nominal)
    rows = track.rows
    ahead = np.cross(rows[:, 4:7], rows[:, 7:10], axis=1)
    longitude = rows[:, 10][:, np.newaxis]
    there = np.cos(longitude) * rows[:, 7:10] + np.sin(longitude) * ahead
    angle = np.arctan2(there[:, 1], there[:, 0])
    slots = np.stack([ring.phase(track.times_s, slot, plane) for plane, slot in (one.place for one in craft)], axis=1)
    return np.asarray(np.unwrap(frames.wrap(angle - slots), axis=0))


def _over_ground(
    ring: Ring,
    uneven: UnevenField,
    craft: Sequence[InRing],
    ground: float,
    error_rad: Array,
    span_s: tuple[float, float],
    tolerance_rad: float,
) -> tuple[Array, Array, tuple[Trim, ...]]:
    """Trims of craft that keep their longitudes, from edge to edge of a band: no neighbor counts, the ground alone.

    A trim leaves a small swing within each turn, so that the band is for means over a turn.
    """
    drift = _drifts(ring, uneven, craft, ground)
    return east_west([one.name for one in craft], ring, drift, error_rad, *span_s, BAND_SHARE * tolerance_rad)


def _drifts(ring: Ring, uneven: UnevenField, craft: Sequence[InRing], ground: float) -> Array:
    """Accelerations in longitude at the slots of craft, rad/s^2, (n,)."""
    places = np.array([float(ring.phase(0.0, slot, plane)) for plane, slot in (one.place for one in craft)])
    return drift_rad_s2(uneven, ring.radius_m, places - ground)


def _upkeep(
    track: Track, ring: Ring, craft: Sequence[InRing], band_rad: float, *, nominal: bool
) -> tuple[Array, Array, tuple[Trim, ...]]:
    """Times while all orbits are round, the errors in the spacing with trims, and the trims, in order of time."""
    whole = _while_round(track)
    times = track.times_s[:whole]
    apart = spacing(track, ring, [one.place for one in craft], nominal=nominal)[:whole]
    if times.size < 2:
        return times, apart, ()
    trims: list[Trim] = []
    left = np.empty_like(apart)
    for k, one in enumerate(craft):
        own, left[:, k] = schedule(one.name, ring, times, apart[:, k], band_rad)
        trims.extend(own)
    in_order = tuple(sorted(trims, key=lambda trim: trim.time_s))
    return times, left if nominal else left - left.mean(axis=1, keepdims=True), in_order


def _mean_orbits(ring: Ring, body: Body, craft: Sequence[InRing], from_s: float) -> MeanOrbits:
    """As flown over the window, placed where the craft's mean angles are in its middle."""
    times, weights = window(ring, from_s)
    middle = from_s + 0.5 * window_s(ring)
    found = MeanOrbits.of([one.flight.states(times) for one in craft], weights, body.gm)
    seen = [measure_smoothly(one.flight, ring, *one.place, from_s) for one in craft]
    angle = np.array(
        [
            float(ring.phase(middle, slot, plane)) + flown.slot_error_rad
            for (plane, slot), flown in zip((one.place for one in craft), seen, strict=True)
        ]
    )
    return found.placed(angle, _axes(ring, craft, middle))


def _with_flown_rates(
    start: MeanOrbits, forces: AveragedForces, surfaces: Surfaces, ring: Ring, craft: Sequence[InRing], from_s: float
) -> MeanOrbits:
    """The same with what makes the averaged equations turn at the rates that were flown, in the ring's plane."""
    middle, reach = from_s + 0.5 * window_s(ring), 0.25 * window_s(ring)
    ends = []
    for way in (-1.0, 1.0):
        track = follow(forces, start, surfaces, middle, middle + way * reach)
        if track.down is not None:
            raise FlightError(f"{craft[track.down].name} comes down at once")
        ends.append(track.at(-1).angles(_axes(ring, craft, middle + way * reach)))
    turned = 2.0 * reach * ring.rate_rad_s
    model = (turned + frames.wrap(ends[1] - ends[0] - turned)) / (2.0 * reach)
    flown = np.array(
        [
            2.0 * math.pi / (ring.period_s + measure_smoothly(one.flight, ring, *one.place, from_s).period_error_s)
            for one in craft
        ]
    )
    return start.sped(flown - model)


def _axes(ring: Ring, craft: Sequence[InRing], time_s: float) -> tuple[Array, Array, Array]:
    return frames.plane_axes(ring.inclination_rad, np.array([ring.node(time_s, one.place[0]) for one in craft]))


def spacing(track: Track, ring: Ring, places: Sequence[tuple[int, int]], *, nominal: bool = False) -> Array:
    """Errors in the spacing along a track, (m, n), rad; not wrapped from one time to the next.

    Args:
        nominal: whether they are against the last craft, and not against the mean of all.
    """
    rows = track.rows
    plane = np.array([place[0] for place in places])
    pole = np.empty((rows.shape[0], 3, len(places)))
    for one in np.unique(plane):
        own = plane == one
        pole[:, :, own] = rows[:, 4:7, own].mean(axis=2, keepdims=True)
    pole /= np.linalg.norm(pole, axis=1, keepdims=True)
    if ring.planes == 1 and abs(math.sin(ring.inclination_rad)) < LEAST_LEAN:
        # no node to count from: the x axis, brought into the plane
        first = np.zeros_like(pole)
        first[:, 0] = 1.0
        first -= pole * pole[:, [0]]
    else:
        first = np.stack([-pole[:, 1], pole[:, 0], np.zeros_like(pole[:, 0])], axis=1)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(pole, first, axis=1)
    ahead = np.cross(rows[:, 4:7], rows[:, 7:10], axis=1)
    longitude = rows[:, 10][:, np.newaxis]
    there = np.cos(longitude) * rows[:, 7:10] + np.sin(longitude) * ahead
    angle = np.arctan2(np.sum(there * second, axis=1), np.sum(there * first, axis=1))
    gap = angle - np.array([float(ring.phase(0.0, slot, own)) for own, slot in places])
    # against the first, so that what all do together never counts; then against the mean
    apart = np.unwrap(frames.wrap(gap - gap[:, [0]]), axis=0)
    return np.asarray(apart - (apart[:, [-1]] if nominal else apart.mean(axis=1, keepdims=True)))


def _leaves(
    forces: NearAndFar, track: Track, surfaces: Surfaces, errors_of: Callable[[Track], Array], tolerance: float
) -> tuple[int | None, float]:
    """Who is outside the tolerance first and when, (None, inf) where no craft is.

    Errors grow with the square of time or as swings do, and a step may be days long: the step in which the edge is
    crossed is taken again, as far as the edge.
    """
    from scipy.optimize import brentq

    times, errors = track.times_s, errors_of(track)
    late = np.flatnonzero((np.abs(errors) > tolerance).any(axis=1))
    if late.size == 0:
        return (None, math.inf) if track.down is None else (track.down, float(times[-1]))
    row = int(late[0])
    if row == 0:
        return int(np.argmax(np.abs(errors[0]))), float(times[0])
    before, after = float(times[row - 1]), float(times[row])
    by = forces.near if before < float(times[0]) + REACH_S else forces.far

    def sizes(time_s: float) -> Array:
        part = follow(by, track.at(row - 1), surfaces, before, time_s)
        return np.asarray(np.abs(errors_of(part)[-1]))

    def beyond(time_s: float) -> float:
        return float(np.max(sizes(time_s))) - tolerance

    # a step that ends within rounding of the edge when it is taken again has its end for the moment
    crossed = after if beyond(after) <= 0.0 or beyond(before) >= 0.0 else float(brentq(beyond, before, after, xtol=1.0))
    return int(np.argmax(sizes(crossed))), crossed


def _while_round(track: Track) -> int:
    """How many of the times all orbits are round for."""
    oval = np.flatnonzero(np.any(np.linalg.norm(track.rows[:, 1:4], axis=1) > ROUND, axis=1))
    return int(oval[0]) if oval.size else track.times_s.size


def _yearly(
    ring: Ring,
    craft: Sequence[InRing],
    times: Array,
    trims: Sequence[Trim],
    uneven: UnevenField | None,
    ground: float | None,
) -> float:
    """The most that any craft trims, m/s a year; over the ground in closed form, where cycles cut off do not count."""
    if uneven is not None and ground is not None:
        places = np.array([float(ring.phase(0.0, slot, plane)) for plane, slot in (one.place for one in craft)])
        return float(np.max(east_west_m_s2(uneven, ring, places - ground))) * YEAR_S
    if times.size < 2:
        return 0.0
    over = float(times[-1] - times[0])
    return max(yearly_m_s(tuple(trim for trim in trims if trim.craft == one.name), over) for one in craft)


def _make_up_m_s2(field: Field, ring: Ring, surfaces: Surfaces) -> list[float]:
    """What makes up for drag, m/s^2, of each craft."""
    air = next(term for term in field.terms if isinstance(term, Air))
    found: list[float] = drag_m_s2(air, ring, surfaces.drag_m2_kg).tolist()
    return found
