"""What keeping a ring takes, beside what bringing its craft there takes: in words, tables and fields."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from ..models.readouts import plain, span
from ..models.units import YEAR_S
from ..optimizer.outcome import Outcome, Plan
from ..optimizer.robustness.budget import Budget, CraftBudget
from ..optimizer.standing import CraftKeeping, Keeping
from .hold import years_text
from .layout import Cells, figures, heading, note, table, words
from .values import degrees, named, number
from .wording import listed

PRINTED_M_S = 0.05
"""Plans whose keeping differs by no more than this do not differ by a printed digit."""


DRAG_WORDS = (
    ", by a steady atmosphere; drag in m/s at the mass that a craft starts with, in kg by its force, which the mass "
    "does not change"
)

NO_PLANE = "WHAT KEEPING ITS PLANE TAKES IS NOT IN IT: no other body is known or wanted; an epoch says where they are."


def causes(keeping: Keeping) -> str:
    """What is kept against, in words; empty where nothing is."""
    said = ["drag"] if keeping.drag else []
    if any(one.east_west_m_s_year for one in keeping.craft):
        said.append("the uneven field (east-west)")
    if any(one.north_south_m_s_year for one in keeping.craft):
        said.append("other bodies (north-south)")
    return listed(said)


def plane_text(keeping: Keeping) -> str:
    """The drift of the plane and what it takes to hold it; empty where it is not held."""
    if keeping.pole_drift_rad_year is None:
        return NO_PLANE if keeping.keeps_plane else ""
    drift, band = keeping.pole_drift_rad_year, keeping.band_rad
    cost = max(one.north_south_m_s_year for one in keeping.craft)
    days = 2.0 * band / drift * YEAR_S / 86_400.0
    turns = (
        f"Other bodies turn the plane of the ring by {plain(math.degrees(drift), 2)} deg a year, on the mean over its "
        "hold."
    )
    if cost == 0.0:
        return f"{turns} Begun level it stays within {plain(math.degrees(band), 2)} deg without a burn."
    return (
        f"{turns} To stay within {plain(math.degrees(band), 2)} deg a craft burns {plain(cost)} m/s a year "
        f"north-south, each time {plain(days, 0)} d after the last."
    )


def plan_keeping_lines(outcome: Outcome, first: Plan, width: int) -> list[str]:
    """What keeping takes by the plan shown and, where they differ, by the others; nothing without further forces."""
    keeping = first.keeping
    if keeping is None or not (causes(keeping) or keeping.keeps_plane):
        return []
    who = f"{len(keeping.craft)} craft" if len(keeping.craft) > 1 else keeping.craft[0].craft
    opening = f"Against {causes(keeping)} keeping" if causes(keeping) else "Keeping"
    said = [
        f"{opening} {who} takes {plain(keeping.steady_m_s_year)} m/s a year, in closed form"
        f"{', by a steady atmosphere and at the mass that each starts with' if keeping.drag else ''}.",
        plane_text(keeping),
        f"Counted from each arrival until the ring has held for {years_text(keeping.hold_s)} from its completion on, "
        f"that is {plain(keeping.steady_m_s)} m/s, with the plan {plain(_both(first))} m/s.",
    ]
    if outcome.scenario.ring.longitude_rad is None:
        said.append("Trims of rates come on top.")
    others = [plan for plan in outcome.plans if plan.keeping is not None and not plan.broken]
    shown: list[str] = []
    if any(abs(_kept(plan) - keeping.steady_m_s) > PRINTED_M_S for plan in others):
        said.append(_choice(outcome, others))
        shown = table(_compared(_to_show(outcome, others, first)), width)
    elif len(others) > 1:
        said.append("It is the same for every plan listed, so their order stays.")
    text = " ".join(one for one in said if one)
    return [*heading("Keeping the ring", width), *note(text, width), *shown]


def _choice(outcome: Outcome, plans: list[Plan]) -> str:
    """Whether keeping changes which plan takes least."""
    alone, both = (min(plans, key=lambda plan: key(outcome, plan)) for key in (_alone, _like))
    if alone is both:
        return f"Plan {alone.rank} takes the least with keeping as without."
    return f"With keeping plan {both.rank} takes the least, without it plan {alone.rank}."


def _alone(outcome: Outcome, plan: Plan) -> float:
    """Delta-v of a plan made for the bulge alone, as all but plan 1 are: what its correction added is taken off."""
    return plan.delta_v_m_s - (outcome.under.added_m_s if outcome.under is not None and plan.rank == 1 else 0.0)


def _like(outcome: Outcome, plan: Plan) -> float:
    return _alone(outcome, plan) + _kept(plan)


ROWS_SHOWN = 8
"""Plans that are set side by side with keeping; all are in the result."""


def _kept(plan: Plan) -> float:
    return 0.0 if plan.keeping is None else plan.keeping.steady_m_s


def _both(plan: Plan) -> float:
    return plan.delta_v_m_s + _kept(plan)


def _to_show(outcome: Outcome, plans: list[Plan], first: Plan) -> list[Plan]:
    """The plan shown and those that take least with keeping, by rank."""
    near = sorted(plans, key=lambda plan: _like(outcome, plan))
    picked = {plan.rank: plan for plan in [first, *near[: ROWS_SHOWN - 1]]}
    return [picked[rank] for rank in sorted(picked)]


def _compared(plans: list[Plan]) -> list[Cells | None]:
    yearly = [0.0 if plan.keeping is None else plan.keeping.steady_m_s_year for plan in plans]
    return [
        figures("plan", cells=[str(plan.rank) for plan in plans]),
        figures("m/s", cells=[plain(plan.delta_v_m_s) for plan in plans]),
        figures("keeping", "a year", cells=[plain(one) for one in yearly]),
        figures("keeping", "in all", cells=[plain(_kept(plan)) for plan in plans]),
        figures("both", cells=[plain(_both(plan)) for plan in plans]),
        figures("done after", cells=[span(plan.finish_s) for plan in plans]),
    ]


def plan_keeping_values(plan: Plan) -> dict[str, Any]:
    """``keeping`` of a plan; nothing without further forces."""
    keeping = plan.keeping
    if keeping is None:
        return {}
    return {
        "keeping": {
            **named(keeping, "hold_s"),
            "m_s_year": number(keeping.steady_m_s_year, "m_s"),
            "m_s": number(keeping.steady_m_s, "m_s"),
            "with_plan_m_s": number(_both(plan), "m_s"),
            **_plane_values(keeping),
            "craft": [_craft_values(one) for one in keeping.craft],
        }
    }


def _plane_values(keeping: Keeping) -> dict[str, Any]:
    drift = keeping.pole_drift_rad_year
    return {"plane_drift_deg_year": None if drift is None else degrees(drift)}


def _craft_values(one: CraftKeeping) -> dict[str, Any]:
    return {**named(one, "craft", "from_s"), **{name: number(getattr(one, name), "m_s") for name, _ in _CAUSES}}


_CAUSES = (
    ("drag_m_s_year", "drag"),
    ("east_west_m_s_year", "east-west"),
    ("north_south_m_s_year", "north-south"),
)


def keeping_answer(budget: Budget) -> str:
    """A sentence for the head of a budget; empty without further forces."""
    keeping = budget.keeping
    if keeping is None:
        return ""
    kept = [budget.kept_m_s(one) or 0.0 for one in budget.craft]
    top = max(range(len(kept)), key=kept.__getitem__)
    unknown = any(_own(keeping, one.craft).trims_m_s is None for one in budget.craft)
    size = "less than 0.1 m/s" if kept[top] < PRINTED_M_S else f"up to {plain(kept[top])} m/s"
    who = "" if kept[top] < PRINTED_M_S or len(kept) == 1 else f" ({budget.craft[top].craft})"
    return (
        f" Keeping the ring for {years_text(keeping.hold_s)} takes {size} more{who}"
        f"{', trims of rates not known' if unknown else ''}."
    )


def keeping_lines(budget: Budget, width: int) -> list[str]:
    """Insertion and phasing, keeping, and both, for the craft that the plan moves; nothing without further forces."""
    keeping = budget.keeping
    if keeping is None:
        return []
    lines = heading("With keeping", width)
    if max(budget.kept_m_s(one) or 0.0 for one in budget.craft) < PRINTED_M_S:
        lines += note("Less than 0.1 m/s for each craft, and no more to load.", width)
    else:
        lines += table(_speeds(budget, keeping), width)
        if any(budget.kept_kg(one) is not None for one in budget.craft):
            lines += ["", *table(_masses(budget), width)]
    return [*lines, *note(_how(budget, keeping), width), *_short_lines(budget, width)]


def _own(keeping: Keeping, craft: str) -> CraftKeeping:
    return next(one for one in keeping.craft if one.craft == craft)


def _speeds(budget: Budget, keeping: Keeping) -> list[Cells | None]:
    own = [_own(keeping, one.craft) for one in budget.craft]
    names = [one.craft for one in own]

    def column(head: str, say: Callable[[CraftBudget], str]) -> Cells:
        return figures(head, cells=[say(one) for one in budget.craft])

    over_ground = budget.outcome.scenario.ring.longitude_rad is not None
    trims = ["unknown" if one.trims_m_s is None else plain(one.trims_m_s, 2) for one in own]
    used = [
        figures(head, cells=[plain(getattr(one, name) * keeping.years(one), 2) for one in own])
        for name, head in _CAUSES
        if any(getattr(one, name) for one in own)
    ]
    return [
        words("craft", names),
        column("P99, m/s", lambda one: plain(one.delta_v_m_s[-1].value)),
        *used,
        None if over_ground else figures("trims", cells=trims),
        column("keeping", lambda one: plain(budget.kept_m_s(one) or 0.0)),
        column("both", lambda one: plain(_sum_m_s(budget, one))),
    ]


def _sum_m_s(budget: Budget, one: CraftBudget) -> float:
    return one.delta_v_m_s[-1].value + (budget.kept_m_s(one) or 0.0)


def _masses(budget: Budget) -> list[Cells | None]:
    loads = [
        (one.craft, one.load_kg[-1], both)
        for one in budget.craft
        if one.load_kg is not None and (both := budget.kept_kg(one)) is not None
    ]
    return [
        words("craft", [name for name, *_ in loads]),
        figures("P99, kg", cells=[plain(way, 2) for _, way, _ in loads]),
        figures("for keeping", cells=[plain(both - way, 2) for _, way, both in loads]),
        figures("both", cells=[plain(both, 2) for *_, both in loads]),
    ]


def _how(budget: Budget, keeping: Keeping) -> str:
    against = causes(keeping)
    own = [_own(keeping, one.craft) for one in budget.craft]
    said = [
        "P99: insertion, phasing and corrections, as above. Each craft is kept from its arrival until the ring has "
        f"held for {years_text(keeping.hold_s)} from its completion on"
        f"{f', against {against} in closed form' if against else ''}"
        f"{DRAG_WORDS if keeping.drag else ''}.",
        plane_text(keeping),
    ]
    if any(one.trims_m_s is None for one in own):
        said.append(
            "TRIMS OF RATES ARE NOT KNOWN, AND NOT IN IT: no flight under these forces came through in time, or its "
            "forecast ends too soon. --time-limit SECONDS allows more time."
        )
    elif any(one.trims_m_s for one in own):
        said.append("Trims of rates are those of a forecast for the plan without errors.")
    return " ".join(one for one in said if one)


def _short_lines(budget: Budget, width: int) -> list[str]:
    """Whose tank does not last."""
    lines = []
    tanks = {craft.name: craft.propellant_kg for craft in budget.outcome.scenario.craft}
    for one in budget.craft:
        needs, holds = budget.kept_kg(one, reserve=False), tanks[one.craft]
        if needs is not None and holds is not None and needs > holds:
            lines += note(
                f"{one.craft} DOES NOT LAST: both take {plain(needs, 2)} kg with the reserve used up; its tank has "
                f"{plain(holds, 2)} kg.",
                width,
            )
    return lines


def keeping_values(budget: Budget) -> dict[str, Any]:
    """``keeping`` of a budget."""
    keeping = budget.keeping
    assert keeping is not None
    return {
        **named(keeping, "hold_s", "done_s"),
        **_plane_values(keeping),
        "craft": [_budget_values(budget, one, _own(keeping, one.craft)) for one in budget.craft],
    }


def _budget_values(budget: Budget, one: CraftBudget, own: CraftKeeping) -> dict[str, Any]:
    both_kg = budget.kept_kg(one)
    way_kg = None if one.load_kg is None else one.load_kg[-1]
    return {
        **_craft_values(own),
        "trims_m_s": own.trims_m_s,
        "way_p99_m_s": one.delta_v_m_s[-1].value,
        "keeping_m_s": budget.kept_m_s(one),
        "both_m_s": _sum_m_s(budget, one),
        "way_p99_kg": way_kg,
        "keeping_kg": None if both_kg is None or way_kg is None else both_kg - way_kg,
        "both_kg": both_kg,
    }
