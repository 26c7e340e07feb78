"""Every option within the limits, as columns: what the schedule chooses from."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ...models.launch import Ascent
from ...models.opportunities import grid_step_s, liftoffs, open_to
from ..problem.liftoff_times import ends, finish_moments, turning_moments, with_turnarounds
from ..problem.liftoff_windows import CHOICES_MAX, windows
from ..problem.options import F, Options, join, undominated
from ..problem.problem import Problem
from ..problem.restriction import NO_RESTRICTION, Restriction
from ..problem.ways_up import kept_tilt_rad
from ..routes import registry
from ..routes.route import Question
from .from_ground import from_pad

OPTIONS_MAX = 1_000_000
"""Most moments times slots times classes of craft, each an option or more, that one pad may come to."""

MANY_LAUNCHES = 8
"""Launches from which, where not all liftoffs can be examined, only those clear of every other craft's slot are."""


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """Options of one problem, dominated ones left out, with the liftoff moments they were made for.

    ``moments_s`` per pad; ``looked_at`` counts the (k, m) choices evaluated and ``free_form`` the free-form
    flights among them; ``notes`` say in words where the moments
    of liftoff are a list and not the whole truth. ``restriction`` is what the options were filtered by, so that later
    liftoffs are filtered alike; ``wanted`` is a mask that they are filtered by besides. ``chains`` per pad: how many
    launches a chain of turnarounds has among the moments; ``whole``: whether they are all there, so that no liftoff was
    left out for their number; ``clear`` per pad: whether of its launches only those clear of every other craft's slot
    are listed.
    """

    problem: Problem
    options: Options
    moments_s: tuple[F, ...]
    looked_at: int
    free_form: int
    exact: bool
    notes: tuple[str, ...] = field(default=())
    chains: tuple[int, ...] = field(default=())
    whole: bool = True
    clear: tuple[bool, ...] = field(default=())
    restriction: Restriction = NO_RESTRICTION
    wanted: Callable[[Options], NDArray[np.bool_]] | None = None


def _notes_on_passes(problem: Problem, pad: int, latest: float) -> list[str]:
    """What must be known about liftoffs of a site that only passes through the plane."""
    scenario = problem.scenario
    site = scenario.pads[pad]
    ways = [way for way in problem.ways if way.pad == pad and way.place is not None]
    if not ways or not problem.launches:
        return []
    said = []
    if math.isinf(scenario.limits.finish_within_s) and latest < site.until_s:
        said.append(
            f"liftoffs from {site.name}: passes through the ring plane are tried up to {latest / 86400.0:.1f} d after "
            "the epoch, or up to limits.finish_within_d where that is given"
        )
    step = max(grid_step_s(way, problem.ring, site, kept_tilt_rad(scenario)) for way in ways)
    if step > 0.0:
        steepest = problem.ring.speed_m_s * abs(ways[0].place.relative_rate_rad_s if ways[0].place else 0.0)
        said.append(
            f"liftoffs from {site.name} off the ring plane are tried on a grid of at most {step:.0f} s, refined around "
            f"those chosen: from one to the next the cost of the least tilt changes by at most {step * steepest:.0f} "
            "m/s, and options that exist only in between are missed"
        )
    return said


@dataclass(frozen=True, kw_only=True)
class _Liftoffs:
    """Moments of each pad, how many launches a chain has among them, whether they are all there, and what to note."""

    moments_s: tuple[F, ...]
    chains: tuple[int, ...]
    whole: bool
    notes: tuple[str, ...]


def _liftoffs(problem: Problem) -> _Liftoffs:
    moments, chains, notes, all_there = [], list[int](), list[str](), True
    for pad, (earliest, latest) in enumerate(windows(problem)):
        times, chain, whole, grid = _moments(problem, pad, earliest, latest)
        moments.append(times)
        chains.append(chain)
        all_there = all_there and whole
        notes.extend(_notes_on_passes(problem, pad, latest))
        name = problem.scenario.pads[pad].name
        if not whole:
            notes.append(
                f"liftoffs from {name}: {times.size} moments tried, with the chains of "
                "turnarounds cut short; a better moment may lie in between"
            )
        if grid:
            notes.append(
                f"liftoffs from {name}: where a phasing orbit lower than the coast to the "
                "ring is used, moments are tried on a grid"
            )
    return _Liftoffs(moments_s=tuple(moments), chains=tuple(chains), whole=all_there, notes=tuple(notes))


def catalogue(problem: Problem, restriction: Restriction = NO_RESTRICTION) -> Catalogue:
    """All options over the exact candidate moments (see ``problem/liftoff_times.py``), pruned to what none beats."""
    at = _liftoffs(problem)
    notes = list(at.notes)
    question = Question(problem=problem, restriction=restriction)
    parts = _asked("space", question, notes)
    looked_at = sum(len(part) for part in parts)
    clear = list[bool]()
    for pad, times in enumerate(at.moments_s):
        wanted = not at.whole and problem.launches >= MANY_LAUNCHES
        options, count, kept_clear = _launches(problem, pad, times, restriction, clear=wanted)
        parts.append(options)
        looked_at += count
        clear.append(kept_clear)
    if any(pad.upper_stage is not None and math.isfinite(pad.upper_stage.lasts_s) for pad in problem.scenario.pads):
        notes.append(
            "the time of an upper stage: liftoffs at which a burn comes just at its end are not looked for, so a "
            "better moment is possible"
        )
    loads = _asked("carrier", question, notes)
    looked_at += sum(part.first_row.size for part in loads)
    parts += loads
    options = join(parts)
    return Catalogue(
        problem=problem,
        options=options.take(undominated(options)),
        moments_s=at.moments_s,
        looked_at=looked_at,
        free_form=sum(int(np.isin(part.route, registry.places("timed")).sum()) for part in parts),
        exact=not notes,
        notes=tuple(notes),
        chains=at.chains,
        whole=at.whole,
        clear=tuple(clear),
        restriction=restriction,
    )


def from_space(question: Question) -> list[Options]:
    """The options of craft in space, by every route."""
    return _asked("space", question, [])


def _asked(begins: Literal["space", "carrier"], question: Question, notes: list[str]) -> list[Options]:
    """The options of the routes that begin so, and what is to be noted of them."""
    parts = []
    for code, route in registry.numbered(begins):
        parts.append(registry.columns(code, question))
        note = route.note(question.problem, parts[-1])
        if note:
            notes.append(note)
    return parts


def _launches(
    problem: Problem, pad: int, times: F, restriction: Restriction, *, clear: bool
) -> tuple[Options, int, bool]:
    """Options from a pad, how many choices were evaluated, and whether only those ``clear`` of all other craft are
    listed: these alone where they are asked for and lead into every slot."""
    options, count = from_pad(problem, pad, times, restriction, clear=clear)
    reached = np.unique(options.slot).size
    if clear and reached < len(problem.free_slots):
        everything, count = from_pad(problem, pad, times, restriction)
        if np.unique(everything.slot).size > reached:
            return everything, count, False
    return options, count, clear


def further(made: Catalogue, pad: int, times: F, *, finish_s: float = math.inf, finishing: bool = False) -> Options:
    """Options at further liftoffs from a pad, listed like those of the catalogue; see :func:`from_pad`."""
    clear = made.clear[pad]
    return from_pad(made.problem, pad, times, made.restriction, finish_s=finish_s, finishing=finishing, clear=clear)[0]


def restricted(made: Catalogue, restriction: Restriction) -> Catalogue:
    """The catalogue under a restriction on some slots: options of the others are taken over as they are."""
    if restriction.slots is None:
        return catalogue(made.problem, restriction)
    slots = tuple(sorted(restriction.slots))
    parts = [made.options.take(~np.isin(made.options.slot, slots) & (made.options.bundle < 0))]
    question = Question(problem=made.problem, restriction=restriction, into=restriction.slots)
    parts += [one.take(np.isin(one.slot, slots)) for one in from_space(question)]
    for pad, times in enumerate(made.moments_s):
        parts.append(from_pad(made.problem, pad, times, restriction, only_slots=slots, clear=made.clear[pad])[0])
    parts += _asked("carrier", replace(question, into=None), [])
    options = join(parts)
    return replace(made, options=options.take(undominated(options)), restriction=restriction)


def at_finish(made: Catalogue, finish_s: float, *, later_too: bool = False) -> Options:
    """Options for liftoffs at which some choice finishes exactly at a threshold, turnaround chains included.

    ``later_too``: also those at such liftoffs, and their chains, that finish after the threshold.
    """
    problem = made.problem
    parts = []
    for pad, (earliest, latest) in enumerate(windows(problem)):
        found = []
        for way in problem.ways:
            if way.pad == pad and way.place is not None:
                found.append(np.zeros(0))
            elif way.pad == pad:
                touch = problem.touch(way.arrival_speed_m_s)
                found.append(finish_moments(touch, way, finish_s, earliest, latest))
        if not found:
            continue
        times = with_turnarounds(
            np.unique(np.concatenate(found)),
            problem.scenario.pads[pad].turnaround_s,
            made.chains[pad],
            earliest,
            latest if later_too else min(latest, finish_s),
        )
        parts.append(further(made, pad, times, finish_s=math.inf if later_too else finish_s))
        every = np.union1d(times, made.moments_s[pad])
        parts.append(further(made, pad, every, finish_s=finish_s, finishing=True))
    options = join(parts)
    return options.take(undominated(options))


def _moments(problem: Problem, pad: int, earliest: float, latest: float) -> tuple[F, int, bool, bool]:
    """Candidate liftoffs of a pad; how many launches a chain of turnarounds has among them; whether all of it is there;
    whether a grid is."""
    if latest < earliest or not problem.launches:
        return np.zeros(0), problem.launches, True, False
    allowed = sorted({c.delta_v_allowed_m_s for c in problem.classes if c.start is None})
    starts = {max(earliest, c.craft.ready_s) for c in problem.classes if c.start is None}
    edges = [edge for span in problem.scenario.pads[pad].blackouts_s for edge in span]
    found = [np.array([*starts, *edges, latest])]
    grid = False
    open_moments = 0.0
    for way in problem.ways:
        if way.pad != pad:
            continue
        if way.place is not None:
            tolerance = kept_tilt_rad(problem.scenario)
            site = problem.scenario.pads[pad]
            found.append(liftoffs(way, problem.ring, site, tolerance, earliest, latest))
            kept = open_to(way, problem.scenario.body, site, tolerance, found[-1])
            open_moments += _choices(problem, way) * int(np.count_nonzero(kept))
            continue
        touch = problem.touch(way.arrival_speed_m_s)
        stage = problem.scenario.pads[pad].upper_stage
        more = (0.0,) if stage is None else (0.0, stage.delta_v_m_s)
        at = ends(touch, tuple(a + by - way.entry_delta_v_m_s for a in allowed for by in more))
        grid = grid or at.grid
        found.append(turning_moments(touch, way, at, earliest, latest))
        if math.isfinite(problem.scenario.limits.finish_within_s):
            found.append(finish_moments(touch, way, problem.scenario.limits.finish_within_s, earliest, latest))
    base = np.unique(np.concatenate(found))
    base = base[(base >= earliest) & (base <= latest)]
    turnaround = problem.scenario.pads[pad].turnaround_s
    launches = problem.launches
    each = sum(_choices(problem, way) for way in problem.ways if way.pad == pad and way.place is None)
    each += math.ceil(open_moments / max(base.size, 1))
    classes = sum(c.start is None for c in problem.classes)
    most = max(min(CHOICES_MAX // max(each, 1), OPTIONS_MAX // max(len(problem.free_slots) * classes, 1)), 2)
    whole = True
    while launches > 1 and turnaround > 0.0 and base.size * (2 * launches - 1) > most:
        launches -= 1
        whole = False
    if all(way.place is not None for way in problem.ways if way.pad == pad) and not _slides(problem, pad):
        return base, launches, True, grid
    if base.size > most:
        # evenly thinned, so that no part of the window goes unseen; the ends of the window stay
        base = base[np.unique(np.linspace(0, base.size - 1, most).astype(np.int64))]
        whole = False
    if not whole and turnaround > 0.0 and problem.launches >= MANY_LAUNCHES:
        # at these moments some slot is just in place, so others are passed on the way: half of them that much later
        base[1:-1:2] = np.minimum(base[1:-1:2] + _aside_s(problem, pad), latest)
        # one launch after another without a pause, from the beginning and from after each blackout
        first = np.array([*starts, *edges])
        base = np.union1d(base, with_turnarounds(first, turnaround, problem.launches, earliest, latest))
    return with_turnarounds(base, turnaround, launches, earliest, latest), launches, whole or turnaround <= 0.0, grid


ASIDE = 3.0
"""By how many times the separation a slot is out of place for a craft that makes so many turns before it arrives."""


def _aside_s(problem: Problem, pad: int) -> float:
    """How much later a launch comes to the ring clear of the slots that were in place, s; 0 where none ever is."""
    closing = [
        abs(problem.ring.rate_rad_s - way.site_rate_rad_s)
        for way in problem.ways
        if way.pad == pad and way.place is None
    ]
    away = ASIDE * problem.scenario.limits.separation_m / problem.ring.radius_m
    return away / min(closing) if closing and min(closing) > 1e-12 else 0.0


def _slides(problem: Problem, pad: int) -> bool:
    """Whether liftoffs from a pad may be moved a little, so that one may stand a turnaround after another."""
    site = problem.scenario.pads[pad]
    return any(way.pad == pad and (way.place is None or site.plane_tolerance_rad > 0.0) for way in problem.ways)


def _choices(problem: Problem, way: Ascent) -> int:
    """How many choices one moment of liftoff by one way comes to, over all free slots."""
    touch = problem.touch(way.arrival_speed_m_s)
    steps = sum(route.steps(way, touch) for _, route in registry.lifting(way))
    return len(problem.free_slots) * (len(touch.windings()) * steps + 1)
