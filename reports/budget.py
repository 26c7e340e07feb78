"""The propellant budget as text, as JSON and as files."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from ..models.readouts import plain
from ..optimizer.outcome import Outcome
from ..optimizer.robustness.budget import SHARES, Budget, CraftBudget
from ..optimizer.robustness.quantiles import CONFIDENCE, Quantile
from .disposal import disposal_lines, disposal_of
from .files import write_answer
from .flown_words import gravity_of
from .keeping import keeping_answer, keeping_lines, keeping_values
from .layout import Cells, closed, ended_early, figures, heading, note, paragraph, table, words
from .limits import limit_key, plan_as_written
from .values import exact, json_text
from .wording import listed

_CLOSED = (
    "The phasing period is read and trimmed, an overshot one is exchanged for the next that fits, the ring's period is "
    "read and trimmed, and slot errors and tilts beyond the tolerance are taken off."
)
_BY_LAW = (
    "No closed form is known for such a flight: errors are propagated with a linear model of it, to first order "
    "in the errors. Burns to come are changed in the cheapest of a few ways where the rest of the plan would miss; the "
    "ring's period is read and trimmed. Burns of an upper stage or a carrier have the errors of the craft's burns; "
    "craft on a carrier share its errors."
)
_BY_DRIFT = (
    "Waits of more than a day are followed by secular rates: the period of the waiting orbit is read and trimmed when "
    "the craft has settled in it, and trimmed again each time that half of the wait is left, where the slot would be "
    "missed; a lean of the plane is turned back at once where that is cheaper. It goes up at the moment planned."
)


_LOADS = ("plan", "P50", "P90", "P99")


def budget_text(budget: Budget, width: int) -> str:
    """The budget for a console, no line longer than ``width``."""
    lines = [budget.outcome.scenario.title, *paragraph(_answer(budget), width), ""]
    broken = plan_as_written(budget.plan, budget.outcome.scenario.source).broken
    if broken:
        lines += paragraph(
            f"THE PLAN BREAKS A LIMIT: {listed(sorted({limit_key(b.limit) for b in broken}))}. "
            "The budget is of a plan that should not be flown.",
            width,
        )
    lines += paragraph(
        f"{plain(budget.samples, 0)} flights of each craft of plan {budget.plan.rank} with random errors "
        f"(seed {budget.seed}), each corrected as a planner would, at the least delta-v whatever the goal of the plan.",
        width,
    )
    for by_law, how in ((False, _CLOSED), (True, _BY_LAW)):
        names = [one.craft for one in budget.craft if one.by_law == by_law]
        if names:
            who = "" if len(names) == len(budget.craft) else f"{listed(names)}: "
            lines += paragraph(f"{who}{how}", width)
    names = [part.craft for part in budget.plan.craft if part.route == "drift"]
    if names:
        lines += paragraph(f"{listed(names)} by nodal drift: {_BY_DRIFT[0].lower()}{_BY_DRIFT[1:]}", width)
    lines += [*heading("Delta-v, m/s", width), *table(_craft_table(budget), width)]
    sure = f"{plain(100.0 * CONFIDENCE, 0)} %"
    lines += note(
        f"P99 is what 99 in 100 flights do not exceed, with bounds that hold with {sure} confidence each, by order "
        "statistics alone; the reserve is the upper bound less the plan.",
        width,
    )
    for text in _warnings(budget):
        lines += note(text, width)
    if any(one.load_kg for one in budget.craft):
        lines += [*heading("Propellant to load, kg", width), *table(_load_table(budget), width)]
        lines += note(_loads_text(budget), width)
    lines += keeping_lines(budget, width)
    lines += disposal_lines(budget, width)
    lines += _drivers_text(budget, width)
    if budget.as_zero:
        lines += note(f"Not given, so taken as exact: {'; '.join(budget.as_zero)}.", width)
    return closed([*lines, *ended_early(budget.unfinished, width)], _caution(budget), width)


def nothing_flown(outcome: Outcome) -> str:
    """What is said where the search was ended before any flight with errors, in a sentence."""
    plan = outcome.plans[0]
    return (
        f"plan {plan.rank} takes {plain(plan.delta_v_m_s)} m/s; the search was ended before any flight with errors, so "
        "what these cost is not known. --time-limit SECONDS allows more, --time-limit none any."
    )


def _drivers_text(budget: Budget, width: int) -> list[str]:
    """What drives the budget; nothing where no time was left to work it out."""
    if not budget.drivers:
        return []
    said = note(
        f"P99 less the plan, summed over the craft, from {plain(budget.ranking_samples, 0)} flights of each: with one "
        "source alone, and how much less without it. They do not add up.",
        width,
    )
    return [*heading("What drives it", width), *table(_driver_table(budget), width), *said]


def _caution(budget: Budget) -> str:
    closed = "point-mass gravity, tangent burns at the ring, " if not all(one.by_law for one in budget.craft) else ""
    return (
        f"A planning aid, not flight software: approximations are {closed}impulses, normally distributed errors that "
        "do not depend on one another, and last corrections (phasing out a slot error, taking off a tilt) that are "
        f"exact. Misses, failures{' and drag are' if budget.keeping is None else ' and drag on the way are'} not in it."
    )


def _answer(budget: Budget) -> str:
    worst = max(budget.craft, key=lambda one: one.reserve_m_s)
    total = budget.total_m_s[-1]
    planned = sum(one.planned_m_s for one in budget.craft)
    text = (
        f"Add up to {plain(worst.reserve_m_s)} m/s ({worst.craft}) to what the plan burns: 99 in 100 flights then have "
        f"enough. All craft together: {plain(planned)} m/s planned, {plain(total.value)} m/s for 99 in 100."
    )
    if budget.one_load_kg is not None and budget.one_load_planned_kg is not None and len(budget.craft) > 1:
        load = budget.one_load_kg[-1].value
        text += (
            f" One load for all craft: {plain(load, 2)} kg, {plain(load - budget.one_load_planned_kg, 2)} kg more than "
            "the plan alone needs."
        )
    return f"{text}{keeping_answer(budget)}"


def _craft_table(budget: Budget) -> list[Cells]:
    rows = [(one.craft, one.planned_m_s, one.delta_v_m_s, plain(one.reserve_m_s)) for one in budget.craft]
    if len(budget.craft) > 1:
        rows.append(("all", sum(one.planned_m_s for one in budget.craft), budget.total_m_s, ""))
    shares = ("P50", "P90", "P99")
    return [
        words("craft", [name for name, *_ in rows]),
        figures("plan", cells=[plain(planned) for _, planned, _, _ in rows]),
        *(figures(share, cells=[plain(found[i].value) for _, _, found, _ in rows]) for i, share in enumerate(shares)),
        figures("P99 bounds", cells=[f"{_bound(f[-1].low)}..{_bound(f[-1].high)}" for _, _, f, _ in rows]),
        figures("reserve", cells=[reserve for *_, reserve in rows]),
    ]


def _bound(value: float) -> str:
    return plain(value, 2) if math.isfinite(value) else "unknown"


def _load_table(budget: Budget) -> list[Cells]:
    """Loads by the plan and for 50, 90 and 99 of 100 flights, and what the last costs more than the first."""
    loads = [(one.craft, one.load_kg) for one in budget.craft if one.load_kg is not None]
    if budget.one_load_kg is not None and budget.one_load_planned_kg is not None and len(budget.craft) > 1:
        loads.append(("one for all", (budget.one_load_planned_kg, *(q.value for q in budget.one_load_kg))))
    return [
        words("craft", [name for name, _ in loads]),
        *(figures(title, cells=[plain(kg[i], 2) for _, kg in loads]) for i, title in enumerate(_LOADS)),
        figures("costs", cells=[plain(kg[-1] - kg[0], 2) for _, kg in loads]),
    ]


def _loads_text(budget: Budget) -> str:
    text = "By the rocket equation, with the reserve that the scenario keeps back; costs is P99 less plan."
    if len(budget.craft) > 1 and budget.one_load_kg is not None:
        text += " One for all: one load that is enough for every craft, in 50, 90, 99 of 100 rings."
    return text


def _driver_table(budget: Budget) -> list[Cells]:
    # what is left of a difference of two quantiles may fall short of nothing by noise
    return [
        words("source", [one.source for one in budget.drivers]),
        figures("alone, m/s", cells=[plain(one.alone_m_s, 2) for one in budget.drivers]),
        figures("left out, m/s", cells=[plain(max(one.left_out_m_s, 0.0), 2) for one in budget.drivers]),
    ]


def _warnings(budget: Budget) -> list[str]:
    found = []
    for one in budget.craft:
        when = "" if one.by_law else ", before its period is trimmed"
        remedy = "raise" if one.by_law else "aim short of the period first, or raise"
        phased = (
            ", and THE LIMITS LEAVE NO TURN to phase it out: these flights end late by a turn, as counted here, or pay "
            "far more"
            if one.too_late
            else " and phases it out afterwards"
        )
        said = (
            (one.short, f"RUNS OUT of its {plain(one.available_m_s)} m/s in", ", with the reserve used up"),
            (one.too_low, "DIPS BELOW THE FLOOR in", f"{when}: {remedy} the clearance"),
            (one.went_on, "overshoots its period in", " and takes one revolution more, which costs no propellant"),
            (one.phased_out, "ends out of its slot's tolerance in", phased),
        )
        found += [
            f"{one.craft} {what} {_percent(share)} of flights{then}." for share, what, then in said if share > 0.0
        ]
    return found


def _percent(share: float) -> str:
    return f"{plain(100.0 * share, 1)} %" if share >= 0.0005 else "less than 0.1 %"


def budget_json(budget: Budget) -> str:
    """The budget as JSON: delta-v in m/s, masses in kg, angles in degrees; bounds that are unknown are null."""
    return json_text(_values(budget), indent=1)


def _values(budget: Budget) -> dict[str, Any]:
    return {
        "format": "ringwright-budget/1",
        "title": budget.outcome.scenario.title,
        "plan": budget.plan.rank,
        "plan_within_limits": not budget.plan.broken,
        **exact(budget, "samples", "seed"),
        "confidence": CONFIDENCE,
        "craft": [_craft_values(one) for one in budget.craft],
        "total_m_s": [_quantile(q) for q in budget.total_m_s],
        "one_load_kg": None if budget.one_load_kg is None else [_quantile(q) for q in budget.one_load_kg],
        "one_load_planned_kg": budget.one_load_planned_kg,
        **({} if budget.keeping is None else {"keeping": keeping_values(budget)}),
        **disposal_of(budget),
        "drivers": [exact(one, "source", "alone_m_s", "left_out_m_s") for one in budget.drivers],
        "driver_samples": budget.ranking_samples,
        "samples_asked": budget.asked,
        "unfinished": budget.unfinished or None,
        "taken_as_exact": list(budget.as_zero),
        "model": {
            "gravity": gravity_of(budget.outcome) if all(one.by_law for one in budget.craft) else "two-body",
            "burns": "impulsive",
        },
    }


def _craft_values(one: CraftBudget) -> dict[str, Any]:
    shares = ("plan", *(f"p{100 * share:g}" for share in SHARES))
    return {
        **exact(one, "craft", "planned_m_s"),
        "delta_v_m_s": [_quantile(q) for q in one.delta_v_m_s],
        "reserve_m_s": one.reserve_m_s,
        "available_m_s": one.available_m_s if math.isfinite(one.available_m_s) else None,
        "share_running_out": one.short,
        "share_going_on": one.went_on,
        "share_phased_out": one.phased_out,
        "too_late_to_phase_out": one.too_late,
        "share_below_floor": one.too_low,
        "propagated_by": "linear model" if one.by_law else "closed forms",
        "slot_error_p99_deg": math.degrees(one.slot_error_rad),
        "load_kg": None if one.load_kg is None else dict(zip(shares, one.load_kg, strict=True)),
    }


def _quantile(one: Quantile) -> dict[str, float | None]:
    return {
        **exact(one, "share", "value"),
        "low": one.low if math.isfinite(one.low) else None,
        "high": one.high if math.isfinite(one.high) else None,
    }


def write_budget(budget: Budget, directory: str | Path) -> Path:
    """Write ``budget.json``, ``budget.txt`` and the figure ``budget.svg``, ``.png``; raises as `write_answer` does."""
    from .figures.budget import draw_budget

    texts = {"budget.json": budget_json(budget), "budget.txt": budget_text(budget, 110)}
    write_answer(directory, texts, "budget", lambda: draw_budget(budget))
    return Path(directory)
