"""Every option within the limits, as columns: what the schedule chooses from."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ...models.deadline import poll
from ...models.launch import Ascent
from ...models.memory import need
from ...models.opportunities import grid_step_s, liftoffs, open_to, turn_s
from ...models.scenario import Pad
from ...models.sites import can_lift, may_launch, open_at
from ..outcome import Route
from ..routes import direct
from ..routes import launch_tilt as turning
from ..routes import parking_orbit as park
from ..routes import upper_stage as staged
from ..routes.options import F, I, Options, empty, join, undominated
from ..routes.phasing import Touch, Wanted
from .carrier_loads import LOADS_NOTE, loads
from .finite_burns import takes_long
from .from_orbit import FROM_SPACE
from .liftoff_times import ends, finish_moments, turning_moments, with_turnarounds
from .problem import Problem, kept_tilt_rad
from .restriction import NO_RESTRICTION, Restriction, route_wanted
from .screening import passes_any_slot, passes_kept, within_limits

BLOCK_ROWS = 1 << 15
"""Rows built at a time: their columns stay in the cache."""

BLOCK_BYTES = 100e6
"""What a block takes with all that is worked out on the way."""

CHOICES_MAX = 25_000_000
"""Most choices (moment, slot, k, m) that one pad may come to before its list of liftoffs is cut short."""


MANY_LAUNCHES = 8
"""Launches from which, where not all liftoffs can be looked at, only those clear of everybody's slot are."""

PASS_TURNS = 10
"""Without a finish to keep, launches at passes through the plane are looked at for so many turns of the site longer."""

PASS_TURNS_MAX = 500
"""And never for more turns than this."""


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """Options of one problem, dominated ones left out, with the liftoff moments they were made for.

    ``moments_s`` per pad; ``looked_at`` counts the (k, m) choices evaluated and ``free_form`` the free-form
    flights among them; ``notes`` say in words where the moments
    of liftoff are a list and not the whole truth. ``restriction`` is what the options were filtered by, so that later
    liftoffs are filtered alike; ``wanted`` is a mask that they are filtered by besides. ``chains`` per pad: how many
    launches a chain of turnarounds has among the moments; ``whole``: whether they are all there, so that no liftoff was
    left out for their number.
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
    restriction: Restriction = NO_RESTRICTION
    wanted: Callable[[Options], NDArray[np.bool_]] | None = None


def windows(problem: Problem) -> tuple[tuple[float, float], ...]:
    """Earliest and latest liftoff worth looking at, per pad.

    Within one synodic turn of the ring over the site every slot can be met without phasing, so a launch never has
    cause to wait longer than that after its pad is free: later liftoffs cost more time and save nothing. A blackout may
    come in between, after which the same holds again.

    Where the site only passes through the plane, waiting for a better pass may pay for as long as there is time;
    without a limit on the finish the search ends a few turns of the site after everybody could have gone up.
    """
    scenario = problem.scenario
    found = []
    readies = [c.craft.ready_s for c in problem.classes if c.start is None]
    for index, pad in enumerate(scenario.pads):
        ways = [w for w in problem.ways if w.pad == index]
        earliest = max(pad.ready_s, min(readies, default=0.0))
        latest = max(pad.ready_s, max(readies, default=0.0))
        latest += max((_horizon_s(problem, pad, way) for way in ways), default=0.0)
        latest = min(latest, pad.until_s)
        limit = scenario.limits.finish_within_s - min((w.after_s for w in ways), default=0.0)
        found.append((earliest, min(latest, limit)))
    return tuple(found)


def _horizon_s(problem: Problem, pad: Pad, way: Ascent) -> float:
    """How long after a site is ready the last launch by a way may be worth looking at."""
    blackouts = sum(end - start for start, end in pad.blackouts_s)
    if way.place is None:
        closing = abs(problem.ring.rate_rad_s - way.site_rate_rad_s)
        turn = 2.0 * math.pi / closing if closing > 1e-12 else 0.0
        return problem.launches * (pad.turnaround_s + turn) + blackouts + turn * len(pad.blackouts_s)
    turn = turn_s(way.place)
    if math.isinf(turn):
        return problem.launches * pad.turnaround_s + blackouts
    if math.isfinite(problem.scenario.limits.finish_within_s):
        return PASS_TURNS_MAX * turn
    turns = min(problem.launches * (pad.turnaround_s / turn + 1.0) + PASS_TURNS, PASS_TURNS_MAX)
    return turns * turn + blackouts


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
            f"liftoffs from {site.name}: passes through the ring plane are looked at up to {latest / 86400.0:.1f} d "
            "after the epoch; with limits.finish_within_d they are looked at up to that"
        )
    step = max(grid_step_s(way, problem.ring, site, kept_tilt_rad(scenario)) for way in ways)
    if step > 0.0:
        steepest = problem.ring.speed_m_s * abs(ways[0].place.relative_rate_rad_s if ways[0].place else 0.0)
        said.append(
            f"liftoffs from {site.name}: off the ring plane moments are a grid of at most {step:.0f} s, refined around "
            "those chosen; between two moments of it the price of the least tilt changes by at most "
            f"{step * steepest:.0f} m/s, and options that hold only there are not seen"
        )
    return said


def catalogue(problem: Problem, restriction: Restriction = NO_RESTRICTION) -> Catalogue:
    """All options over the exact candidate moments (see ``liftoff_times.py``), pruned to what none beats."""
    moments, chains, notes, exact, all_there = [], list[int](), list[str](), True, True
    for pad, (earliest, latest) in enumerate(windows(problem)):
        times, chain, whole, grid = _moments(problem, pad, earliest, latest)
        moments.append(times)
        chains.append(chain)
        all_there = all_there and whole
        more = _notes_on_passes(problem, pad, latest)
        exact = exact and not more
        notes.extend(more)
        if not whole:
            exact = False
            notes.append(
                f"liftoffs from {problem.scenario.pads[pad].name}: {times.size} moments looked at, the chains of "
                "turnarounds cut short; a better moment between them is possible"
            )
        if grid:
            exact = False
            notes.append(
                f"liftoffs from {problem.scenario.pads[pad].name}: where a phasing orbit lower than the coast to the "
                "ring is used, moments are a grid"
            )
    parts = [way(problem, restriction) for way in FROM_SPACE]
    looked_at = sum(len(part) for part in parts)
    if any(np.any(~np.isnan(part.waiting_m)) for part in parts):
        exact = False
        notes.append(
            "nodal drift: begun as soon as the craft may burn, in one circular waiting orbit, until the nodes first "
            "meet; a later start or a plane turned in part by burns is not looked at"
        )
    for pad, times in enumerate(moments):
        options, count = _launches(
            problem, pad, times, restriction, clear=not all_there and problem.launches >= MANY_LAUNCHES
        )
        parts.append(options)
        looked_at += count
    if any(pad.upper_stage is not None and math.isfinite(pad.upper_stage.lasts_s) for pad in problem.scenario.pads):
        exact = False
        notes.append(
            "the time of an upper stage: liftoffs at which a burn comes just at its end are not looked for, so a "
            "better moment is possible"
        )
    if problem.aboard:
        parts.append(loads(problem, windows(problem), restriction))
        looked_at += parts[-1].first_row.size
        exact = False
        notes.append(LOADS_NOTE)
    options = join(parts)
    return Catalogue(
        problem=problem,
        options=options.take(undominated(options)),
        moments_s=tuple(moments),
        looked_at=looked_at,
        free_form=sum(int((part.flight >= 0).sum()) for part in parts),
        exact=exact,
        notes=tuple(notes),
        chains=tuple(chains),
        whole=all_there,
        restriction=restriction,
    )


def _launches(problem: Problem, pad: int, times: F, restriction: Restriction, *, clear: bool) -> tuple[Options, int]:
    """Options from a pad; only those ``clear`` of everybody else, where such options lead into every slot."""
    options, count = from_pad(problem, pad, times, restriction, clear=clear)
    reached = np.unique(options.slot).size
    if clear and reached < len(problem.free_slots):
        everything, count = from_pad(problem, pad, times, restriction)
        if np.unique(everything.slot).size > reached:
            return everything, count
    return options, count


def restricted(made: Catalogue, restriction: Restriction) -> Catalogue:
    """The catalogue under a restriction on some slots: options of the others are taken over as they are."""
    if restriction.slots is None:
        return catalogue(made.problem, restriction)
    slots = tuple(sorted(restriction.slots))
    parts = [made.options.take(~np.isin(made.options.slot, slots) & (made.options.bundle < 0))]
    space = [way(made.problem, restriction) for way in FROM_SPACE]
    clear = not made.whole and made.problem.launches >= MANY_LAUNCHES
    parts += [one.take(np.isin(one.slot, slots)) for one in space]
    for pad, times in enumerate(made.moments_s):
        parts.append(from_pad(made.problem, pad, times, restriction, only_slots=slots, clear=clear)[0])
    parts.append(loads(made.problem, windows(made.problem), restriction))
    options = join(parts)
    return replace(made, options=options.take(undominated(options)), restriction=restriction)


def at_finish(made: Catalogue, finish_s: float, *, later_too: bool = False) -> Options:
    """Options for liftoffs at which some choice finishes exactly at a threshold, turnaround chains included.

    ``later_too``: also those at such liftoffs, and their chains, that finish after the threshold.
    """
    problem, restriction = made.problem, made.restriction
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
        parts.append(from_pad(problem, pad, times, restriction, finish_s=math.inf if later_too else finish_s)[0])
        every = np.union1d(times, made.moments_s[pad])
        parts.append(from_pad(problem, pad, every, restriction, finish_s=finish_s, finishing=True)[0])
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
    whole = True
    while launches > 1 and turnaround > 0.0 and base.size * (2 * launches - 1) * each > CHOICES_MAX:
        launches -= 1
        whole = False
    if all(way.place is not None for way in problem.ways if way.pad == pad) and not _slides(problem, pad):
        return base, launches, True, grid
    if base.size * each > CHOICES_MAX:
        # evenly thinned, so that no part of the window goes unseen; the ends of the window stay
        base = base[np.unique(np.linspace(0, base.size - 1, max(CHOICES_MAX // each, 2)).astype(np.int64))]
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
    steps = park.DIVE_STEPS if way.parking and park.dives(touch) else 1
    return len(problem.free_slots) * (len(touch.windings()) * steps + 1)


def from_pad(
    problem: Problem,
    pad: int,
    moments_s: F,
    restriction: Restriction = NO_RESTRICTION,
    *,
    finish_s: float = math.inf,
    prune: bool = True,
    only_slots: tuple[int, ...] | None = None,
    finishing: bool = False,
    clear: bool = False,
) -> tuple[Options, int]:
    """Options of all craft on the ground for given liftoffs from a pad, and how many choices were evaluated.

    A choice is evaluated once for all classes: they differ only in what they may spend and when they are ready.
    ``finishing``: only those that wait in a parking orbit as long as ``finish_s`` allows. ``clear``: only those that
    come close to nobody else's slot, whether anybody is there or not.
    """
    parts: list[Options] = []
    looked_at = 0
    finish_s = min(finish_s, problem.scenario.limits.finish_within_s)
    site = problem.scenario.pads[pad]
    ground = [(i, c) for i, c in enumerate(problem.classes) if c.start is None and may_launch(site, c.craft)]
    moments_s = moments_s[open_at(site, moments_s)]
    slots = problem.free_slots if only_slots is None else only_slots
    for index, way in enumerate(problem.ways):
        if way.pad != pad or not ground or not moments_s.size:
            continue
        own = moments_s
        if way.place is not None:
            tolerance = kept_tilt_rad(problem.scenario)
            own = own[open_to(way, problem.scenario.body, site, tolerance, own)]
        if not own.size:
            continue
        name: Route = "park" if way.parking else "direct"
        plain = problem.touch(way.arrival_speed_m_s)
        if finishing and not (way.parking and park.dives(plain)):
            continue
        until = finish_s if finishing else None
        for strict in (True, False):
            chosen = [s for s in slots if restriction.applies(s) is strict and s // problem.ring.slots == way.plane]
            if not chosen or (strict and not route_wanted(restriction, name, index)):
                continue
            touch = restriction.touch(plain) if strict else plain
            wanted = restriction.wanted() if strict else None
            per_block = max(BLOCK_ROWS // (len(chosen) * _unpruned(problem, way, touch, prune)), 1)
            for first in range(0, own.size, per_block):
                poll()
                need(BLOCK_BYTES)
                times = own[first : first + per_block]
                looked_at += times.size * len(chosen) * len(touch.windings())

                def build(
                    liftoff: F,
                    slot: I,
                    prune: bool,
                    *,
                    touch: Touch = touch,
                    wanted: Wanted | None = wanted,
                    index: int = index,
                    until: float | None = until,
                ) -> Options:
                    return launched(
                        problem, index, liftoff, slot, touch=touch, wanted=wanted, prune=prune, until_s=until
                    )

                options = _clear_of_kept(
                    problem, build, np.repeat(times, len(chosen)), np.tile(np.array(chosen), times.size), prune
                )
                if clear:
                    options = options.take(~passes_any_slot(problem, options))
                for number, group in ground:
                    fits = options.liftoff_s >= group.craft.ready_s - 1e-6
                    mine = options.take(fits)
                    mine = mine.take(can_lift(site, group.craft, mine.delta_v_m_s))
                    mine = within_limits(problem, replace(mine, craft_class=np.full(len(mine), number)), finish_s)
                    parts.append(mine.take(undominated(mine)) if prune else mine)
    return join(parts), looked_at


def _unpruned(problem: Problem, way: Ascent, touch: Touch, prune: bool) -> int:
    """How many choices are held at once for each liftoff and slot: one where the dominated ones are never made."""
    stage = problem.scenario.pads[way.pad].upper_stage
    whole = not prune or (stage is not None and math.isfinite(stage.lasts_s)) or takes_long(problem)
    steps = park.DIVE_STEPS if way.parking and park.dives(touch) else 1
    return max(len(touch.windings()) * steps, 1) if whole else 1


def launched(
    problem: Problem,
    way: int,
    liftoff_s: F,
    slot: I,
    *,
    touch: Touch | None = None,
    wanted: Wanted | None = None,
    prune: bool = False,
    until_s: float | None = None,
) -> Options:
    """Options of one way up for (liftoff, slot) pairs, of the first class of craft; limits of the touch only.

    ``until_s``: those that wait in a parking orbit as long as that finish allows.
    """
    up = problem.ways[way]
    if until_s is not None and up.tilt_at == "apsis":
        return empty()
    if until_s is not None:
        waited = park.finishing_at(
            touch or problem.touch(up.arrival_speed_m_s),
            up,
            way,
            liftoff_s,
            slot,
            until_s,
            craft_class=0,
            insertion_m=up.insertion.radius_m,
            wanted=wanted,
        )
        return _paid(problem, up, turning.turned(up, problem.ring, waited))
    stage = problem.scenario.pads[up.pad].upper_stage
    if (stage is not None and math.isfinite(stage.lasts_s)) or takes_long(problem):
        # which choice is the cheapest depends on which burns come in the stage's time, and how long they are
        prune = False
    build = park.options if up.parking else direct.options
    if up.parking and up.tilt_at == "apsis":
        build = turning.from_node
    made = build(
        touch or problem.touch(up.arrival_speed_m_s),
        up,
        way,
        liftoff_s,
        slot,
        craft_class=0,
        insertion_m=up.insertion.radius_m,
        wanted=wanted,
        prune=prune,
    )
    return _paid(problem, up, turning.turned(up, problem.ring, made))


def _paid(problem: Problem, up: Ascent, options: Options) -> Options:
    """The options with what an upper stage pays taken off."""
    stage = problem.scenario.pads[up.pad].upper_stage
    return options if stage is None else staged.left_for_craft(stage, up, problem.ring, options)


def _clear_of_kept(
    problem: Problem, build: Callable[[F, I, bool], Options], liftoff_s: F, slot: I, prune: bool
) -> Options:
    """Options that pass nobody who stays; where the best choice of a row would, all other choices of that row."""
    options = build(liftoff_s, slot, prune)
    hit = passes_kept(problem, options)
    clear = options.take(~hit)
    if not prune or not hit.any():
        return clear
    rows = np.unique(np.stack([options.liftoff_s[hit], options.slot[hit].astype(np.float64)]), axis=1)
    instead = build(rows[0], rows[1].astype(np.int64), False)
    return join([clear, instead.take(~passes_kept(problem, instead))])
