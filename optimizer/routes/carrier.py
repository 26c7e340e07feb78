"""By carrier: several craft on one launch, dropped as the carrier touches the ring, each phasing on its own from there.

Whole loads (`carrier_loads.py`), for the liftoffs at which a carrier is worth it; the carriers' flights, and what craft
fly from their drop on (`carrier_flight.py`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...models.arrays import Mask
from ...models.launch import Ascent
from ...models.opportunities import liftoffs, open_to
from ...models.sites import EDGE_KG, open_at
from ..limits import between_drops
from ..limits.screening import passes_kept, safe
from ..problem.close_approaches import last_passes
from ..problem.liftoff_times import Ends, turning_moments, with_turnarounds
from ..problem.liftoff_windows import windows
from ..problem.options import F, Options, join
from ..problem.problem import Aboard, Problem
from ..problem.restriction import Restriction, route_wanted
from ..problem.ways_up import kept_tilt_rad
from ..trajectory.course import Course
from .carrier_drop_orbits import Drops
from .carrier_flight import carrier_key, dropped, fly_carriers
from .carrier_loads import Asked, Load, options
from .route import CourseOf, Finite, Question, Route, by_itself

NOTE = (
    "liftoffs of carriers are tried where a slot is at the place of arrival, at the first moment possible, and a "
    "turnaround from these; for craft that phase by themselves a better moment may lie in between; orbits to drop "
    "from are those that bring slots to that place, every pass or every second or third"
)

TURNS_NOTE = (
    "craft that a carrier drops turn into other planes by burns at the drop of a few sizes, and where the planes then "
    "cross"
)

IN_PLACE = Ends(any_k=(), wait_turns=math.inf, revolutions_max=0, grid=False)
"""The only end that is looked for: a slot needs no phasing."""


def columns(question: Question) -> Options:
    """Every load of every carrier that none beats, for all pads."""
    problem = question.problem
    found = []
    for pad, (earliest, latest) in enumerate(windows(problem)):
        for aboard in problem.aboard:
            found.extend(_from_pad(problem, pad, aboard, earliest, latest, question.restriction))
    return join(found)


def lifted_kg(problem: Problem, aboard: Aboard) -> float:
    """The least that a launcher lifts with a carrier: its own mass, and that of all aboard with empty tanks, kg."""
    craft = math.fsum(problem.classes[i].craft.lightest_kg for i in aboard.craft_class.tolist())
    return aboard.carrier.mass_kg + craft


def _from_pad(
    problem: Problem,
    pad: int,
    aboard: Aboard,
    earliest_s: float,
    latest_s: float,
    restriction: Restriction,
) -> list[Options]:
    site = problem.scenario.pads[pad]
    mass = lifted_kg(problem, aboard)
    if aboard.carrier.pads and site.name not in aboard.carrier.pads:
        return []
    found = []
    for index, way in enumerate(problem.ways):
        if way.pad != pad or way.tilt_at != "kept" or mass > site.payload_to(way.insertion) + EDGE_KG:
            continue
        moments = _moments(problem, pad, way, aboard, earliest_s, latest_s)
        own = _asked(problem, way.plane, way, index, restriction)
        others = [plane for plane in range(problem.ring.planes) if plane != way.plane]
        turned = [one for plane in others for one in _asked(problem, plane, way, index, restriction)]
        for asked in (own, [*own, *turned] if turned else []):
            if moments.size and asked:
                made = options(_load(problem, way, index, aboard, asked), moments)
                found.append(made if asked is own else made.take(_turns_some(problem, made)))
    return found


def _load(problem: Problem, way: Ascent, index: int, aboard: Aboard, asked: Sequence[Asked]) -> Load:
    """A carrier on a way up, with the slots that its craft may fill."""
    separation = problem.scenario.limits.separation_m
    return Load(
        asked=asked,
        way=way,
        way_index=index,
        aboard=aboard,
        finish_s=problem.scenario.limits.finish_within_s,
        keeps=lambda rows: safe(problem, rows) & ~passes_kept(problem, rows),
        last_passes=lambda rows, slots: last_passes(rows, problem.ring, problem.arrival_speed(rows), slots, separation),
        oblate=problem.oblate,
        apart_s=between_drops.apart_s(problem, aboard.carrier),
        stage=problem.scenario.pads[way.pad].upper_stage,
    )


def _turns_some(problem: Problem, options: Options) -> Mask:
    """Mask of the loads with a craft in another plane than the carrier's."""
    planes = np.array([way.plane for way in problem.ways])
    stays = options.slot // problem.ring.slots == planes[options.way]
    return ~options.whole(stays) if len(options) else stays


def _moments(problem: Problem, pad: int, way: Ascent, aboard: Aboard, earliest_s: float, latest_s: float) -> F:
    """Liftoffs of a carrier from a pad by one way."""
    site, ready = problem.scenario.pads[pad], max(earliest_s, aboard.ready_s)
    if latest_s < ready:
        return np.zeros(0)
    others = sum(a.craft_class.size - 1 for a in problem.aboard)
    launches = max(problem.launches - others, 1)
    if way.place is not None:
        tolerance = kept_tilt_rad(problem.scenario)
        base = liftoffs(way, problem.ring, site, tolerance, ready, latest_s)
    else:
        touch = problem.touch(way.arrival_speed_m_s)
        edges = [edge for span in site.blackouts_s for edge in span]
        base = np.concatenate([[ready], edges, turning_moments(touch, way, IN_PLACE, ready, latest_s)])
    moments = with_turnarounds(np.unique(base), site.turnaround_s, launches, ready, latest_s)
    moments = moments[open_at(site, moments)]
    if way.place is not None:
        moments = moments[open_to(way, problem.scenario.body, site, tolerance, moments)]
    return moments


def _asked(problem: Problem, plane: int, way: Ascent, index: int, restriction: Restriction) -> list[Asked]:
    """The slots of a plane that a carrier may fill by a way up, those under the restriction by themselves."""
    plain = problem.touch(way.arrival_speed_m_s)
    found = []
    for strict in (True, False):
        own = tuple(
            s for s in problem.free_slots if restriction.applies(s) is strict and s // problem.ring.slots == plane
        )
        if not own or (strict and not route_wanted(restriction, ROUTE.name, index)):
            continue
        touch, wanted = (restriction.touch(plain), restriction.wanted()) if strict else (plain, None)
        found.append(Asked(slots=own, touch=touch, wanted=wanted))
    return found


def together(problem: Problem, chosen: Sequence[Options], finite: Finite) -> CourseOf:
    """What craft fly from their drops on, each carrier flown once with all its drops."""
    carried = fly_carriers(problem, chosen)

    def course_of(options: Options, row: int) -> Course | None:
        by = carried.get(carrier_key(options, row))
        return None if by is None else dropped(problem, options, row, by, finite=finite(options, row))

    return course_of


def _note(problem: Problem, options: Options) -> str:
    """What a reader must know of the choice of liftoffs and orbits, and of turns where there are any."""
    turns = any(isinstance(table, Drops) and table.turns.any() for _, table in options.detailed())
    return "" if not problem.aboard else f"{NOTE}; {TURNS_NOTE}" if turns else NOTE


ROUTE = Route(
    name="carrier",
    words=("ride", "on a carrier"),
    begins="carrier",
    columns=columns,
    course=by_itself(together),
    together=together,
    may_serve=lambda problem: bool(problem.aboard),
    note=_note,
)
