"""The price of time over all phases of a ring: each point at the phase that is best for its finish.

Latest finishes are laid where the least total falls most between two neighbors, against its root. Between two points
no plan at any phase is better than the earlier one by more than the resolution, since the least total at the later
finish bounds it from below.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ...models import deadline
from ...models.deadline import ENDED
from ..catalogue.catalogue import catalogue
from ..problem.options import Options
from .flyer import Flyer, fly_at_once
from .objectives import Chosen
from .phase_bounds import Least
from .ring_phase import TOLERANCE, Laid, at
from .selection import Selection
from .ties import printed, prints_until, sooner_in_print

Progress = Callable[[str], None]

POINTS_MAX = 24
"""Most finishes that are asked for."""

ROWS_EACH = 4_000
"""Of large problems fewer: one point less for so many choices, down to ``POINTS_LEAST``."""

POINTS_LEAST = 6


FLOWN_AT_ONCE = 8
"""So many plans are flown in one batch: one by one each takes several times as long."""

FALL_LEAST = 0.01
"""Where the total falls by a smaller share between two points none is laid between them."""

SAME_TURNS = 1e-6
"""Waits that differ by less than this from what a shift of the phase makes of them are the same choice, shifted."""


@dataclass(frozen=True, kw_only=True)
class PhasePoint:
    """A plan of the front with what it was chosen from, at its phase; ``least_m_s`` is what none gets below that is in
    place by ``until_s``."""

    selection: Selection
    chosen: Chosen
    until_s: float
    least_m_s: float


@dataclass(frozen=True, kw_only=True)
class PhaseFront:
    """Points from fast to slow; ``late`` where time ran out before all finishes were asked for."""

    points: tuple[PhasePoint, ...]
    late: bool


def phase_front(laid: Laid, progress: Progress = lambda _: None) -> PhaseFront:
    """Walk the front of least total delta-v against finish over all phases; each plan keeps its limits as flown.

    Plans are chosen by the catalogue first and flown several at a time; one that breaks a limit is chosen again.
    """
    bounds = laid.bounds
    if bounds is None:
        raise ValueError("nothing is bounded")
    found: dict[float, tuple[Least, PhasePoint | None]] = {}
    late = False
    try:
        most = max(POINTS_MAX - len(bounds.rows) // ROWS_EACH, POINTS_LEAST)
        soonest = bounds.least("finish", TOLERANCE["finish"])
        ends = (math.inf, prints_until("finish", soonest.value))
        for number in range(most):
            until = ends[number] if number < len(ends) else _next(found)
            if until is None:
                break
            progress(f"front: {len(found)} points")
            least = bounds.least("delta_v", TOLERANCE["delta_v"], finish_s=until)
            found[until] = (least, _planned(laid, least, until))
            if len(_not_flown(found)) >= FLOWN_AT_ONCE:
                _fly(laid, found)
        _fly(laid, found)
    except ENDED:
        late = True
        # what was chosen by then is flown in the time kept for that
        with suppress(*ENDED), deadline.flying():
            fly_at_once(list(_not_flown(found).values()))
    points = [point for _, (_, point) in sorted(found.items()) if point is not None and _is_flown(point)]
    return PhaseFront(points=tuple(points), late=late)


def _not_flown(found: dict[float, tuple[Least, PhasePoint | None]]) -> dict[float, tuple[Flyer, Options]]:
    """The points that were not flown yet, by their latest finish."""
    return {
        until: (point.selection.flyer, point.chosen.options)
        for until, (_, point) in found.items()
        if point is not None and not _is_flown(point)
    }


def _is_flown(point: PhasePoint) -> bool:
    options, flyer = point.chosen.options, point.selection.flyer
    return all(flyer.flown(options, row) for row in range(len(options)))


def _fly(laid: Laid, found: dict[float, tuple[Least, PhasePoint | None]]) -> None:
    """Fly what was not flown yet in one batch, and choose again where a plan breaks a limit in its flight."""
    new = _not_flown(found)
    with deadline.flying():
        fly_at_once(list(new.values()))
    for until in new:
        least, point = found[until]
        if point is not None and point.selection.cut_off([point.chosen]):
            found[until] = (least, _planned(laid, least, until, flown=True))


def _planned(laid: Laid, least: Least, until_s: float, *, flown: bool = False) -> PhasePoint | None:
    """The best plan at the phase that a bound names, by the catalogue or as flown."""
    deadline.poll()
    if not math.isfinite(least.value):
        return None
    selection = _selection(laid, least.phase_rad)
    chosen = selection.best(("delta_v", "finish"), finish_s=until_s, ties="none", flown=flown)
    if chosen is None:
        return None
    return PhasePoint(selection=selection, chosen=chosen, until_s=until_s, least_m_s=least.bound)


def _selection(laid: Laid, phase_rad: float) -> Selection:
    """What there is to choose from at a phase, with what was flown where plans were made there already."""
    problem = at(laid.selection.made.problem, phase_rad)
    for one in laid.examined:
        if one.made.problem.ring.slot0_rad == problem.ring.slot0_rad:
            return one
    return Selection(catalogue(problem))


def _next(found: dict[float, tuple[Least, PhasePoint | None]]) -> float | None:
    """A finish between two of those asked for, where the least total falls most; None where it falls by nothing.

    Nothing falls between a plan's own finish and the one that was asked for.
    """
    asked = sorted(found)
    best, where = 0.0, None
    for sooner, later in pairwise(asked):
        point = found[later][1]
        own = min(later, math.inf if point is None else point.chosen.finish_s)
        begin = max(sooner, 0.0)
        own = min(own, sooner_in_print(own))
        if not math.isfinite(own) or printed("finish", own) <= printed("finish", begin):
            continue
        dear, cheap = found[sooner][0].value, found[later][0].value
        if not math.isfinite(cheap) or (dear - cheap) < FALL_LEAST * cheap:
            continue
        fall = (dear - cheap) / math.sqrt(max(cheap, 1.0))
        if fall > best:
            best, where = fall, 0.5 * (begin + own)
    return where


def slides(one: PhasePoint, other: PhasePoint) -> bool:
    """Whether two plans are the same choice at different phases, so that every phase in between has it too."""
    ring = one.selection.made.problem.ring
    moved = other.selection.made.problem.ring.slot0_rad - ring.slot0_rad
    a, b = one.chosen.options, other.chosen.options
    if len(a) != len(b) or (a.revolutions == 0).any() or (b.revolutions == 0).any():
        return False
    a, b = a.take(np.lexsort((a.slot, a.craft_class))), b.take(np.lexsort((b.slot, b.craft_class)))
    same = np.array_equal(a.craft_class, b.craft_class) and np.array_equal(a.slot, b.slot)
    same = same and np.array_equal(a.revolutions, b.revolutions) and np.array_equal(a.passes, b.passes)
    if not same:
        return False
    turns = (b.phasing_s - a.phasing_s) / ring.period_s + moved / (2.0 * math.pi)
    return bool(np.all(np.abs(turns) < SAME_TURNS))
