"""The price of time: an aim against finish, or against first service, each listed point proved over the catalogue.

A later finish only allows more options, so the least of an aim never rises with the finish allowed. The front is walked
from its cheap end: the best plan that finishes before the last point is the next one. Where liftoffs slide continuously
the front slopes between such points, and the walk takes strides that keep the fall in the aim below the resolution.

First service is the least, over groups of neighboring slots, of the last finish within a group. Each group has a
front, in which the threshold binds its slots alone; all are walked together, the cheapest next point first, so
that a group is examined again only where its last point is overtaken.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ...models import deadline
from ...models.deadline import ENDED, OutOfTimeError
from ...models.scenario import Aim
from ..problem.options import Options
from .first_service import neighbor_groups
from .objectives import FINISH_TOLERANCE, Chosen, Order, total
from .selection import Selection
from .ties import AIMS, printed, sooner_in_print

Kind = Literal["step", "slope", "curve"]
Progress = Callable[[str], None]

POINTS_ASKED = 40
"""A sloping front is listed this finely: its resolution is its height divided by this, but at least ``RESOLUTION``."""

RESOLUTION = {"delta_v": 0.1, "worst_delta_v": 0.1, "propellant": 0.02, "finish": 1.0}
"""In the units of the aim: m/s, kg, s."""

PRINTED = 0.1
"""What is printed of every aim that is traded for time: m/s, kg."""

POINTS_MAX = 400
"""Most points that are walked; a front that has more says from where on it is not listed."""

STEP_S = 1e-2
"""The least stride along a slope; a point is listed only if it prints as sooner than the next."""

FILLED, STRIDES_MAX = 0.8, 40
"""A stride along a slope aims at this share of the resolution; so many are tried, by halving where the slope ends."""

ALIKE = 1e-6
"""Plans this close in an aim cost the same."""

PASSES_MAX = 12
"""Most times that a front is walked again because points of it broke a limit in the flight."""


EFFORT = 200e6
"""What walking a front may take of the simplex method (see ``models/deadline.py``): some 4 s."""

FLIGHTS_SHARE = 0.5
"""Of the time that is left, flights of the best plan included: what the flights of a front's points may take."""


@dataclass(frozen=True, kw_only=True)
class Walked:
    """The points of a front from fast to slow, how it runs from each to the next, and how finely it is known.

    ``times_s`` is what each point was walked against: its finish, or its first service. ``late`` means that the walk
    was broken off because time ran out.
    """

    plans: tuple[Chosen, ...]
    times_s: tuple[float, ...]
    kinds: tuple[Kind, ...]
    resolution: float
    complete: bool
    late: bool = False


def only(point: Chosen | None) -> Walked:
    """A front of which time left one point, or none."""
    plans = () if point is None else (point,)
    times, kinds = tuple(p.finish_s for p in plans), ("step",) * len(plans)
    return Walked(plans=plans, times_s=times, kinds=kinds, resolution=0.0, complete=False, late=True)  # type: ignore[arg-type]


def alone(point: Chosen) -> Walked:
    """One point that was not walked from: the rest of the front is made elsewhere."""
    return Walked(plans=(point,), times_s=(point.finish_s,), kinds=("step",), resolution=0.0, complete=True)


@dataclass(frozen=True, kw_only=True)
class _Group:
    """Whose finish is counted: that of these slots, None for every craft's."""

    selection: Selection
    aim: Aim
    slots: frozenset[int] | None

    @property
    def _clock(self) -> Order:
        return "finish" if self.slots is None else "served"

    def cost(self, chosen: Chosen) -> float:
        return total(self.selection.made, chosen.options, self.aim)

    def time_s(self, chosen: Chosen) -> float:
        options = chosen.options
        own = options.finish_s if self.slots is None else options.finish_s[np.isin(options.slot, sorted(self.slots))]
        return float(own.max(initial=0.0))

    def best(self, before_s: float = np.inf) -> Chosen | None:
        """Least cost, of those the earliest; then what makes the plan fit to be shown."""
        aims: tuple[Order, ...] = (self.aim, self._clock)
        more = tuple(a for a in AIMS[:2] if a not in aims)
        return self.selection.best((*aims, *more), finish_s=before_s, slots=self.slots, ties="none", flown=False)

    def cheapest(self, before_s: float, most: float) -> Chosen | None:
        """Least cost alone, where it is at most so much."""
        bar = most if self.aim == "delta_v" else np.inf
        return self.selection.best(
            (self.aim,), finish_s=before_s, slots=self.slots, ties="none", delta_v_m_s=bar, flown=False
        )

    def fastest(self) -> Chosen | None:
        return self.selection.best((self._clock, self.aim), slots=self.slots, ties="none", flown=False)

    def dearer_in_print(self, cost: float, than: float) -> bool:
        return printed(self.aim, cost) > printed(self.aim, than)


def walk(
    selection: Selection,
    cheapest: Chosen | None = None,
    progress: Progress = lambda _: None,
    *,
    aim: Aim = "delta_v",
    neighbors: int | None = None,
    points_max: int = POINTS_MAX,
) -> Walked:
    """The front from its cheapest plan (the earliest of them) to the fastest; each point keeps its limits as flown.

    Where points break a limit in the flight they are cut off, and the front is walked again.

    Args:
        cheapest: least of the aim, and of those the earliest finish, where it is known already.
        aim: what is traded for time.
        neighbors: the time is that at which so many neighboring slots are filled; None: that of the last craft.
        points_max: most points that are walked.
    """
    ring = selection.made.problem.ring
    sets = (None,) if neighbors is None else neighbor_groups(ring, neighbors)
    groups = [_Group(selection=selection, aim=aim, slots=slots) for slots in sets]
    for _ in range(PASSES_MAX):
        walked = _Walk(groups=groups, progress=progress, points_max=points_max)
        try:
            with deadline.searching(deadline.effort(EFFORT)):
                walked.begin(cheapest)
                walked.run()
        except ENDED:
            walked.late = True
        found = walked.result()
        try:
            with deadline.flying(), deadline.searching(deadline.share(FLIGHTS_SHARE)):
                broken = {id(chosen) for chosen in selection.cut_off(found.plans)}
        except ENDED:
            return only(cheapest)
        if not broken:
            return found
        if found.late or selection.cuts.spent:
            break
    keep = [i for i, chosen in enumerate(found.plans) if id(chosen) not in broken]
    return replace(
        found,
        plans=tuple(found.plans[i] for i in keep),
        times_s=tuple(found.times_s[i] for i in keep),
        kinds=tuple("step" for _ in keep),
        complete=False,
        late=True,
    )


@dataclass(kw_only=True)
class _Walk:
    """Fronts of several groups walked together from their cheap ends; the cheapest next point of any comes first."""

    groups: list[_Group]
    progress: Progress
    points_max: int
    late: bool = False

    def __post_init__(self) -> None:
        self._next: list[tuple[float, float, int, Chosen, Kind]] = []
        self._points: list[tuple[Chosen, float, float, int]] = []  # with cost, time and group
        self._kinds: list[Kind] = []  # of the way from each point to the one after it
        self._stride = [1.0] * len(self.groups)
        self._fastest: list[Chosen | None] = [None] * len(self.groups)
        self._sloped = False
        self._sloping = [False] * len(self.groups)
        self._full = False
        self._resolution = 0.0

    def begin(self, cheapest: Chosen | None) -> None:
        for index, group in enumerate(self.groups):
            found = group.best() if cheapest is None else cheapest
            self._push(index, found, "step")
        if self._next and self._continuous:
            self._fastest = [group.fastest() for group in self.groups]
            group = self.groups[0]
            height = max((group.cost(f) for f in self._fastest if f is not None), default=0.0) - self._next[0][0]
            self._resolution = max(height / POINTS_ASKED, RESOLUTION[group.aim])

    @property
    def _continuous(self) -> bool:
        return self.groups[0].selection.made.problem.launches > 0

    def _push(self, index: int, found: Chosen | None, kind: Kind) -> None:
        if found is None:
            return
        if not found.proved:
            raise OutOfTimeError
        group = self.groups[index]
        heapq.heappush(self._next, (round(group.cost(found), 9), group.time_s(found), index, found, kind))

    def run(self) -> None:
        before = np.inf
        while self._next:
            cost, time_s, index, chosen, kind = heapq.heappop(self._next)
            if time_s <= before + FINISH_TOLERANCE:
                if len(self._points) >= self.points_max:
                    self._full = True
                    return
                self._add(chosen, cost, time_s, index, kind)
                before = sooner_in_print(time_s)
                self.progress(f"front: {len(self._points)} points, back to {time_s / 3600.0:.1f} h")
            if before < 0.0:
                return
            if self.groups[index].selection.left_s() <= 0.0:
                raise OutOfTimeError
            self._push(index, *self._sooner(index, before))

    def _add(self, chosen: Chosen, cost: float, time_s: float, index: int, kind: Kind) -> None:
        if self._points and not self.groups[index].dearer_in_print(cost, self._points[-1][1]):
            # sooner for what prints the same: the last point was none
            self._points.pop()
            kind = self._kinds.pop() if self._kinds else "step"
        if self._points:
            self._kinds.append(kind if self._points[-1][3] == index else "step")
        self._points.append((chosen, cost, time_s, index))

    def _sooner(self, index: int, before_s: float) -> tuple[Chosen | None, Kind]:
        """The group's next point, and how the front runs there from the last one."""
        group = self.groups[index]
        if self._sloping[index] and self._points[-1][3] == index:
            further = self._along(index)
            if further is not None and group.time_s(further) <= before_s:
                return further, "slope"
        self._sloping[index] = False
        last, cost, time_s, _ = self._points[-1]
        if self._continuous:
            # whether it slides is seen a moment before the last point, nearer than what prints as sooner
            near = group.best(time_s - STEP_S)
            if near is None or not near.proved:
                return near, "step"
            dearer = group.cost(near) - cost
            slides = time_s - group.time_s(near) < 10.0 * STEP_S + 60.0
            if slides and ALIKE < dearer < self._resolution and _slides(last, near, dearer):
                self._stride[index] = FILLED * self._resolution * (time_s - group.time_s(near)) / dearer
                further = self._along(index)
                if further is not None and group.time_s(further) <= before_s:
                    self._sloping[index] = self._sloped = True
                    return further, "slope"
            elif group.time_s(near) <= before_s:
                return near, "step"
        return group.best(before_s), "step"

    def _along(self, index: int) -> Chosen | None:
        """The next point along a slope: as far on as the cost may rise by the resolution at most.

        Only the least cost is asked for, and only up to that rise; how far the next stride may go follows from what
        this one cost. Where the slope ends sooner, its end is found by halving.
        """
        group = self.groups[index]
        _, cost, time_s, _ = self._points[-1]
        most = cost + self._resolution
        fastest = self._fastest[index]
        if fastest is not None and group.cost(fastest) <= most and group.time_s(fastest) < time_s - STEP_S:
            return fastest
        stride, found, too_far = self._stride[index], None, np.inf
        for _ in range(STRIDES_MAX):
            further = group.cheapest(time_s - stride, most) if stride <= time_s else None
            if further is not None and further.proved and group.cost(further) <= most:
                found, rise = further, group.cost(further) - cost
                self._stride[index] = FILLED * stride * self._resolution / max(rise, 0.1 * self._resolution)
                if np.isinf(too_far) or rise > 0.5 * self._resolution:
                    break
                if too_far - stride <= 2.0 * STEP_S:
                    break
                stride = 0.5 * (stride + too_far)
            else:
                too_far = stride
                reached = 0.0 if found is None else time_s - group.time_s(found)
                stride = reached + (too_far - reached) * (0.25 if found is None else 0.5)
            if stride <= STEP_S or too_far - stride <= STEP_S:
                break
        return found

    def result(self) -> Walked:
        points = self._points[::-1]
        return Walked(
            plans=tuple(p[0] for p in points),
            times_s=tuple(p[2] for p in points),
            kinds=(*self._kinds[::-1], *(("step",) if points else ())),
            # points that print like a sooner one are left out
            resolution=self._resolution + PRINTED if self._sloped else 0.0,
            complete=not (self._full or self.late),
            late=self.late,
        )


def _slides(last: Chosen, step: Chosen, dearer: float) -> bool:
    """Whether two plans are the same choice with liftoffs moved a little."""

    def structure(o: Options) -> list[list[int]]:
        return sorted(np.stack([o.slot, o.way, o.revolutions, o.ring_revolutions], axis=1).tolist())

    return structure(last.options) == structure(step.options) or abs(dearer) < 1e-3


def _free_because(selection: Selection, only: Chosen) -> str:
    """Why waiting costs nothing, where no craft pays more than a launch that arrives in place; empty elsewhere."""
    problem, options = selection.made.problem, only.options
    if not len(options) or (options.pad < 0).any() or any(way.place is not None for way in problem.ways):
        return ""
    least = min(w.entry_delta_v_m_s + problem.touch(w.arrival_speed_m_s).level_cost for w in problem.ways)
    if np.any(options.delta_v_m_s > least + 1e-6):
        return ""
    if np.any(options.revolutions > 0):
        return "phasing is part of the burns that enter the ring, and costs no more than arriving in place"
    if np.any(options.parking_wait_s > 0.0):
        return "waiting in the parking orbit is free, since it gains on the ring or falls behind by itself"
    turning = problem.scenario.body.spin_rad_s != 0.0
    return "waiting on the pad is free, since " + (
        "the turning site brings every slot into place by itself"
        if turning
        else "the ring brings every slot past the site, which stands still"
    )


def note(walked: Walked, selection: Selection, unit: str = "m/s", *, listed: int | None = None) -> str:
    """What a reader must know about the front, in words.

    Args:
        listed: how many points it has as flown, which may be more than were walked; None: as walked.
    """
    said = []
    if len(walked.plans) == 1 and walked.complete and listed in (1, None):
        why = _free_because(selection, walked.plans[0])
        also = "the cheapest plan is also the earliest"
        said.append(f"nothing to trade: {why}, and {also}" if why else f"nothing to trade: {also}")
    if walked.resolution > 0.0:
        said.append(
            f"on a slope points are listed so closely that no plan between two of them saves more than "
            f"{walked.resolution:.2f} {unit} against the earlier one"
        )
    if walked.late:
        said.append(f"the search for the front ended early: {_only(len(walked.plans))} listed; faster plans may exist")
    elif not walked.complete:
        said.append(f"{_only(len(walked.plans))} listed; still faster plans exist")
    said.extend(selection.made.notes)
    return "; ".join(said)


def _only(points: int) -> str:
    """How many points are listed, as the beginning of a sentence."""
    if points == 0:
        return "no point is"
    return "only the cheapest point is" if points == 1 else f"only the {points} cheapest points are"
