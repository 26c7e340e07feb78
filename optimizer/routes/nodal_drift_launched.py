"""Where a launched craft begins to drift: in its parking orbit, at insertion, in the plane that it was launched into.

A site passes through each plane of the ring twice in a turn. A craft launched at the pass of one plane is in that one;
where its site is open at no pass of another, or a launch there costs more, its node may drift there instead. It begins
on a circle of the ring's inclination, so of two liftoffs into one plane the earlier one leaves it more time at no
greater cost: only the first passes after the site is free are looked at, and those that follow a turnaround later.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ...models import frames
from ...models.launch import Ascent
from ...models.oblateness import EQUATORIAL_SINE
from ...models.opportunities import liftoffs, open_to, tilt
from ...models.sites import open_at
from ..problem.liftoff_windows import windows
from ..problem.options import F
from ..problem.problem import Problem
from ..problem.ways_up import kept_tilt_rad
from .nodal_drift_start import Start, parked

LIFTOFFS_MAX = 48
"""Most liftoffs of a site from which drifts are looked for."""

PAIRS_MAX = 240
"""Most pairs of a liftoff and a slot from which and into which drifts are looked for: some seconds."""

PLACES = 6
"""Insertions whose arguments of latitude agree to so many places of a radian are flown as one."""


@dataclass(frozen=True, kw_only=True)
class Launch:
    """One launch into a parking orbit: by which way up, from which pad, when."""

    way: int
    pad: int
    liftoff_s: float


def launches(problem: Problem) -> list[tuple[Launch, list[int]]]:
    """The launches from which drifts are looked for, in order of liftoff at each pad, each with the planes drifted to.

    All others, unless these are too many: then only planes that no site passes through while it is open, and no more
    launches than may be.
    """
    if problem.ring.planes < 2 or not problem.launches:
        return []
    spans = windows(problem)
    ways = {index: way for index, way in enumerate(problem.ways) if _parks(problem, way)}
    passes = {index: _passes(problem, way, *spans[way.pad]) for index, way in ways.items()}
    chosen: list[Launch] = []
    for pad, site in enumerate(problem.scenario.pads):
        here = {index: times for index, times in passes.items() if ways[index].pad == pad}
        wanted = _first_of_each(problem, here, spans[pad][0], site.turnaround_s)
        chosen += [Launch(way=index, pad=pad, liftoff_s=time) for time, index in wanted]
    each = len(problem.free_slots) / problem.ring.planes
    planes = list(range(problem.ring.planes))
    if len(chosen) * (len(planes) - 1) * each > PAIRS_MAX:
        reached = {ways[index].plane for index, times in passes.items() if times.size}
        planes = [plane for plane in planes if plane not in reached]
        chosen = chosen[: max(int(PAIRS_MAX / max(len(planes) * each, 1.0)), 1)] if planes else []
    return [(one, [plane for plane in planes if plane != ways[one.way].plane]) for one in chosen]


def start_at(problem: Problem, way: Ascent, liftoff_s: float) -> Start:
    """Where a craft begins to drift that lifts off at a pass."""
    ring, angle = problem.ring, float(way.insertion_angle(liftoff_s))
    place = round(float(frames.wrap(angle)), PLACES)
    start = parked(problem.scenario.body, ring, way.insertion.radius_m, place)
    return replace(
        start,
        time_s=liftoff_s + way.insertion_after_s,
        angle_rad=start.angle_rad + float(frames.wrap(angle - place)),
        node_rad=start.node_rad + float(ring.node(liftoff_s, way.plane)),
    )


def _parks(problem: Problem, way: Ascent) -> bool:
    """Whether a way leads to a circle, in a plane of the ring, that drifts against it."""
    drifts = problem.oblate and abs(math.sin(problem.ring.inclination_rad)) >= EQUATORIAL_SINE
    return drifts and way.place is not None and way.parking and way.insertion.circular and way.tilt_at == "kept"


def _passes(problem: Problem, way: Ascent, from_s: float, to_s: float) -> F:
    """Passes through the plane at which a site is open and may launch by a way, in order."""
    scenario = problem.scenario
    site, tolerance = scenario.pads[way.pad], kept_tilt_rad(scenario)
    times = liftoffs(way, problem.ring, site, tolerance, from_s, to_s)
    times = times[open_at(site, times)]
    times = times[open_to(way, scenario.body, site, tolerance, times)]
    return np.asarray(times[tilt(way, times) == 0.0])


def _first_of_each(
    problem: Problem, passes: dict[int, F], from_s: float, turnaround_s: float
) -> list[tuple[float, int]]:
    """The first pass by each way after a site is free, and after a turnaround from each of these, and so on."""
    found: set[tuple[float, int]] = set()
    free = {from_s} | {max(group.craft.ready_s, from_s) for group in problem.classes if group.start is None}
    for _ in range(problem.launches):
        firsts = set()
        for since in sorted(free):
            for index, times in passes.items():
                at = int(np.searchsorted(times, since - 1e-6))
                firsts |= {(float(times[at]), index)} if at < times.size else set()
        if firsts <= found or len(found) >= LIFTOFFS_MAX:
            break
        found |= firsts
        free = {time + max(turnaround_s, 1.0) for time, _ in firsts}
    return sorted(found)[:LIFTOFFS_MAX]
