"""Plans that the flight could make best: what is flown differs from what the catalogue says, and so may the order.

Where flown costs differ, the choice is made again with flown costs for what was flown, and for the rest with the least
that they may be by what was seen; whatever is chosen is flown, until all that is chosen was flown before.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from ...models import deadline
from ...models.deadline import OutOfTimeError
from ...models.scenario import Aim
from ..outcome import Plan
from .objectives import Chosen, total
from .selection import Selection
from .ties import AIMS, digit, printed

ROUNDS_MAX = 12
"""Most plans that are examined for this; where more could be best, the proof says that not all were flown."""

EFFORT = 50e6
"""What this may take of the simplex method (see ``models/deadline.py``): about 1 s."""

NO_DIFFERENCE_M_S = 1e-6
"""Flown costs that differ by less do not differ."""


def contenders(
    selection: Selection, aim: Aim, progress: Callable[[str], None] = lambda _: None
) -> tuple[tuple[Chosen, ...], float]:
    """Plans beside the catalogue's best that may be better once flown, all flown; what all others come to at least.

    It ends where no other can be better by as much as is printed, or as good and sooner. The second value is -inf where
    it ended before the former is known.

    Of what was not flown it is taken that it costs no less against the catalogue than what was flown of its kind; where
    nothing was, than what goes up the same way, else than any other. For a goal of the earliest finish none is
    looked for: where finishes are corrected by the flight, these are then not all.
    """
    flyer = selection.flyer
    if aim == "finish":
        # by how much a plan ends sooner or later than the catalogue says is known of what was flown alone
        return (), -math.inf if flyer.flights.first_guess_rad else math.inf
    if flyer.differs_m_s() <= NO_DIFFERENCE_M_S:
        return (), math.inf
    with deadline.searching(deadline.effort(EFFORT)):
        return _cheaper(selection, aim, progress)


def _cheaper(selection: Selection, aim: Aim, progress: Callable[[str], None]) -> tuple[tuple[Chosen, ...], float]:
    """Chosen with flown costs, flown, and chosen again, until no other can be better."""
    flyer = selection.flyer
    found: list[Chosen] = []
    others_from = -math.inf
    for _ in range(ROUNDS_MAX):
        if selection.left_s() <= 0.0:
            break
        progress("plans that the flight could make best")
        known = flyer.costed
        try:
            other = selection.best((aim, "finish"), as_flown=True, ties="none")
        except OutOfTimeError:
            break
        if other is None or flyer.names(other.options) <= known:
            return tuple(found), math.inf
        found.append(other)
        least = min(value(plan, aim) for plan in flyer.kept)
        if other.solved.values[0] >= least - digit(aim):
            others_from = other.solved.values[0]
            # of plans that print alike in the aim the soonest is wanted
            alike = [plan.finish_s for plan in flyer.kept if printed(aim, value(plan, aim)) == printed(aim, least)]
            if other.finish_s >= min(alike):
                break
    return tuple(found), others_from


def value(plan: Plan, aim: Aim) -> float:
    """What a plan comes to in an aim, as flown: m/s, s or kg."""
    return {
        "delta_v": plan.delta_v_m_s,
        "finish": plan.finish_s,
        "worst_delta_v": plan.worst_delta_v_m_s,
        "propellant": plan.propellant_kg or 0.0,
    }[aim]


def differs(selection: Selection, chosen: Chosen, plan: Plan, aim: Aim) -> float:
    """How much less a plan comes to in an aim, as flown, than the catalogue says."""
    return total(selection.made, chosen.options, aim) - value(plan, aim)


def order(plan: Plan, aim: Aim, *, best: bool = False) -> tuple[object, ...]:
    """Ranking: plans within the limits first, then the goal as printed, then the ties of the contract.

    ``best``: whether it is the plan that was proved best, which comes first of those that print alike.
    """
    return (
        bool(plan.broken),
        printed(aim, value(plan, aim)),
        *(printed(other, value(plan, other)) for other in AIMS),
        not best,
        tuple((part.plane, part.slot) for part in plan.craft),
        round(plan.delta_v_m_s, 5),
        round(plan.finish_s, 3),
    )
