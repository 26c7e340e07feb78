"""The part of the catalogue that goes up by carrier: whole loads for the liftoffs at which a carrier is worth it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...models.launch import Ascent
from ...models.opportunities import liftoffs, open_to
from ...models.sites import EDGE_KG, open_at
from ..routes import carrier
from ..routes.options import F, Options, join
from .close_approaches import last_passes
from .liftoff_times import Ends, turning_moments, with_turnarounds
from .problem import Problem, kept_tilt_rad
from .restriction import NO_RESTRICTION, Restriction, route_wanted
from .screening import passes_kept, safe

LOADS_NOTE = (
    "liftoffs of carriers are tried where a slot is at the place of arrival, at the first moment possible, and a "
    "turnaround from these; for craft that phase by themselves a better moment may lie in between"
)

IN_PLACE = Ends(any_k=(), wait_turns=math.inf, revolutions_max=0, grid=False)
"""The only end that is looked for: a slot needs no phasing."""


def loads(
    problem: Problem, windows: Sequence[tuple[float, float]], restriction: Restriction = NO_RESTRICTION
) -> Options:
    """Every load of every carrier that none beats, for all pads; see ``routes/carrier.py``.

    Args:
        problem: what is planned.
        windows: earliest and latest liftoff worth looking at, for each pad.
        restriction: which options are wanted.
    """
    found = []
    for pad, (earliest, latest) in enumerate(windows):
        for aboard in problem.aboard:
            found.extend(_from_pad(problem, pad, aboard, earliest, latest, restriction))
    return join(found)


def _from_pad(
    problem: Problem,
    pad: int,
    aboard: carrier.Aboard,
    earliest_s: float,
    latest_s: float,
    restriction: Restriction,
) -> list[Options]:
    site = problem.scenario.pads[pad]
    mass = aboard.carrier.mass_kg + sum(problem.classes[i].craft.lightest_kg for i in aboard.craft_class.tolist())
    if (aboard.carrier.pads and site.name not in aboard.carrier.pads) or mass > site.payload_kg + EDGE_KG:
        return []
    found = []
    separation = problem.scenario.limits.separation_m
    for index, way in enumerate(problem.ways):
        if way.pad != pad or way.tilt_at != "kept":
            continue
        moments = _moments(problem, pad, way, aboard, earliest_s, latest_s)
        asked = _asked(problem, way, index, restriction)
        if moments.size and asked:
            found.append(
                carrier.options(
                    asked,
                    way,
                    index,
                    moments,
                    aboard,
                    insertion_m=way.insertion.radius_m,
                    finish_s=problem.scenario.limits.finish_within_s,
                    keeps=lambda rows: safe(problem, rows) & ~passes_kept(problem, rows),
                    stage=site.upper_stage,
                    last_passes=lambda rows, slots: last_passes(rows, problem.ring, slots, separation),
                )
            )
    return found


def _moments(problem: Problem, pad: int, way: Ascent, aboard: carrier.Aboard, earliest_s: float, latest_s: float) -> F:
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


def _asked(problem: Problem, way: Ascent, index: int, restriction: Restriction) -> list[carrier.Asked]:
    """The slots that a carrier may fill by a way up, those under the restriction by themselves."""
    plain = problem.touch(way.arrival_speed_m_s)
    found = []
    for strict in (True, False):
        own = tuple(
            s for s in problem.free_slots if restriction.applies(s) is strict and s // problem.ring.slots == way.plane
        )
        if not own or (strict and not route_wanted(restriction, "carrier", index)):
            continue
        touch, wanted = (restriction.touch(plain), restriction.wanted()) if strict else (plain, None)
        found.append(carrier.Asked(slots=own, touch=touch, wanted=wanted))
    return found
