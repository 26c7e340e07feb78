"""What a second flight of plan 1 under further forces found: as fields of the result, and in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from ..models.flight.smooth_mean import TURNS
from ..models.force_choice import AUTO_SHARE, Chosen, chosen_forces
from ..models.readouts import clock, plain
from ..models.scenario import Scenario
from ..optimizer.outcome import Outcome
from ..optimizer.robustness.under_forces import BY_BULGE, MOST_TURNS
from ..optimizer.standing import UnderForces
from .layout import heading, note
from .limits import limit_key
from .wording import listed, small

FOR_BULGE = (
    "What errors add to it is worked out about the plan for the bulge alone, an approximation: in a difference the "
    "other forces cancel to first order."
)

LEAST_TILT_DEG = 0.01
"""A tilt below this is none."""

LEAST_DEG_YEAR = 0.001
"""A force left out that could do less in a year is not worth a figure."""


def forces_of(outcome: Outcome) -> dict[str, Any]:
    """``model.forces``: what plan 1 was flown with, and what was left out by how much it could move a slot."""
    chosen = _flown(outcome)
    left_out = [
        {"force": one.name, "estimate_deg_year": _rounded(math.degrees(one.shift_rad_year))} for one in chosen.left_out
    ]
    return {
        "forces": {
            "flown": list(chosen.flown),
            "left_out": left_out,
            "higher_degrees_may_matter": chosen.field_ends,
        }
    }


def _rounded(estimate_deg: float) -> float:
    """Three digits of an estimate, and nothing where it is beyond all notice.

    >>> _rounded(0.0123456), _rounded(4e-103)
    (0.0123, 0.0)
    """
    return round(float(f"{estimate_deg:.3g}"), 12)


def _flown(outcome: Outcome) -> Chosen:
    """The forces that plan 1 was flown under: those that matter, or its bulge alone."""
    if outcome.under is not None and outcome.under.craft:
        return outcome.under.chosen
    return chosen_forces(replace(outcome.scenario, forces=None))


def standing_of(under: UnderForces | None, craft: str) -> dict[str, Any]:
    """What is added to ``flown`` of a craft; nulls where it did not come through, nothing where it was not flown."""
    found = next((one for one in under.craft if one.craft == craft), None) if under is not None else None
    if under is None or found is None:
        return {}
    through = found.spacing_rad is not None
    return {
        "span_s": round(under.span_s, 6),
        "mean_slot_error_deg": None if found.spacing_rad is None else round(math.degrees(found.spacing_rad), 6),
        "common_shift_deg": round(math.degrees(under.common_shift_rad), 6) if through else None,
    }


def hold_by_forces_of(under: UnderForces) -> dict[str, Any]:
    """``hold`` of plan 1 by the forces it was flown under; nothing where that was not found."""
    hold = under.hold
    if hold is None:
        return {}
    return {
        "hold": {
            "forces": list(under.chosen.flown),
            "first_to_leave": hold.craft,
            "holds_s": round(hold.leaves_s, 3) if math.isfinite(hold.leaves_s) else None,
            "comes_down": hold.lost,
            "from_s": round(hold.begin_s, 3),
            "looked_ahead_s": round(hold.looked_s, 3),
            "eccentricity_reached": round(hold.eccentricity, 6),
            "too_oval_s": round(hold.oval_s, 3) if math.isfinite(hold.oval_s) else None,
            "too_low_s": round(hold.low_s, 3) if math.isfinite(hold.low_s) else None,
            "dead_band_deg": round(math.degrees(hold.band_rad), 6),
            "trim_m_s_year": round(hold.trim_m_s_year, 6),
            "drag_make_up_m_s_year": round(hold.make_up_m_s_year, 6),
            "trims": [
                {"craft": one.craft, "time_s": round(one.time_s, 3), "along_m_s": round(one.along_m_s, 6)}
                for one in hold.trims
            ],
        }
    }


def force_lines(outcome: Outcome, width: int) -> list[str]:
    """Lines for the screen: what was flown, and what was left out."""
    if outcome.under is None:
        return [*heading("Further forces", width), *note(_left_out(outcome), width)]
    if not outcome.under.craft:
        return [*heading("Further forces", width), *note(_too_long(outcome.under), width)]
    said = " ".join(
        one for one in (_flown_with(outcome.under), *_found(outcome, outcome.under), _frozen(outcome.under)) if one
    )
    return [*heading("Under further forces", width), *note(said, width)]


def chosen_items(scenario: Scenario) -> list[str]:
    """What ``[forces]`` come to, for ``ringwright check``."""
    if scenario.forces is None:
        return ["Plans are made and flown by the body's bulge alone."]
    if not scenario.ring.hold_wanted:
        share = plain(100.0 * AUTO_SHARE, 0)
        return [
            f"Plan 1 will be corrected for and flown with each force that moves a slot by more than {share} % of the "
            "tolerance in its time; a hold written as ring.hold_for would count, too."
        ]
    return [f"Plan 1 will be corrected for and flown with: {_chosen_words(chosen_forces(scenario))}"]


def rest_lines(before: Outcome, under: UnderForces | None, width: int) -> list[str]:
    """The same of what is left of a plan after a look at its craft; nothing where no further force matters to it.

    Args:
        before: with the plan that was being flown.
        under: what a flight of what is left under the same forces found, where it was corrected for them.
    """
    if under is None:
        missing = before.under if before.plans[0].rank == 1 else None
        said = "" if missing is None or missing.corrected or not missing.chosen.field.terms else _too_long(missing)
    elif not under.craft:
        said = _too_long(under, "what is left")
    else:
        words = [
            f"What is left is corrected for and flown with the forces of the plan: {', '.join(under.chosen.flown)}."
        ]
        words += [_out_of_reach(under), *_spacing(before.scenario, under, "what is left")]
        said = " ".join(one for one in words if one)
    return [*heading("Under further forces", width), *note(said, width)] if said else []


def nominal_text(scenario: Scenario, rank: int, under: UnderForces | None, added: str) -> str:
    """By which forces the plan is that other things are set against; empty where no further force matters to it.

    Args:
        rank: of the plan.
        under: of plan 1.
        added: what is worked out for the bulge alone all the same, in a sentence.
    """
    if rank != 1:
        return " ".join(one for one in scenario.warnings if one.startswith(BY_BULGE))
    if under is None or not under.chosen.field.terms:
        return ""
    if not under.corrected:
        return _too_long(under)
    return (
        f"Plan 1 is corrected for and flown with {listed(list(under.chosen.flown))}: {_added_text(under)} than for the "
        f"{under.chosen.flown[0]} alone. {added}"
    )


def point_text(under: UnderForces | None, settings: Sequence[str]) -> str:
    """What further forces add to the plan of one point of a sweep; empty where that is not known.

    Args:
        under: what its flight under them found.
        settings: of the point, as written.
    """
    if under is None or not under.chosen.field.terms:
        return ""
    where = f"At the point of least delta-v ({', '.join(settings)})"
    if not under.corrected:
        return f"{where} the plan is {_too_long(under, 'it')}"
    return (
        f"{where} the plan takes {_added_text(under)} once it is corrected for {listed(list(under.chosen.flown[1:]))} "
        "and flown under them; at other points that is not worked out."
    )


def _added_text(under: UnderForces) -> str:
    """How much more or less the corrected plan takes."""
    return f"{small(abs(under.added_m_s))} m/s {'more' if under.added_m_s >= 0.0 else 'less'}"


def nominal_forces(rank: int, under: UnderForces | None) -> dict[str, Any]:
    """The same for a file: names of the forces that the plan was corrected for, null without any."""
    corrected = rank == 1 and under is not None and under.corrected
    return {"corrected_for": list(under.chosen.flown) if corrected and under is not None else None}


def _left_out(outcome: Outcome) -> str:
    """What a plan for the bulge alone leaves out, and what to add."""
    chosen = _flown(outcome)
    if not chosen.left_out:
        return f"Flown with: {', '.join(chosen.flown)}; no other force is known here."
    words = f"Flown with: {_chosen_words(chosen)}"
    words += " That is how far each could move a craft; only what differs between craft spoils the spacing."
    scenario = outcome.scenario
    if scenario.forces is None:
        return f"{words} [forces] leaves them out."
    if not chosen_forces(scenario, outcome.plans[0].finish_s).field.terms:
        words += (
            f" None comes to {plain(100.0 * AUTO_SHARE, 0)} % of the tolerance in the time of plan 1; to have them "
            "weighed over a hold, too, write ring.hold_for."
        )
    return words


def _too_long(under: UnderForces, plan: str = "plan 1") -> str:
    """What is said of a plan that is not flown again."""
    chosen = under.chosen
    matter = listed(list(chosen.flown[1:]))
    why = f"its craft fly more than {plain(MOST_TURNS, 0)} turns in all"
    if under.breaks:
        named = {
            (limit_key(limit), "" if limit.startswith("craft.") else f" ({craft})") for craft, limit in under.breaks
        }
        why = f"corrected for more it would break {listed(sorted(key + who for key, who in named))}"
    return (
        f"NOT FLOWN WITH {matter.upper()}: {plan} is made and flown for the {chosen.flown[0]} alone, since {why}. "
        f"In its time, or in a hold that is asked for, each of {matter} could move a craft by more than "
        f"{plain(100.0 * AUTO_SHARE, 0)} % of the tolerance (estimates, good to a factor of three), and nothing is "
        "corrected for them: replan on the way."
    )


def _flown_with(under: UnderForces) -> str:
    done = "corrected for and flown again" if under.corrected else "flown again"
    return f"Plan 1, made for the {under.chosen.flown[0]} alone, {done} with: {_chosen_words(under.chosen)}"


def _frozen(under: UnderForces) -> str:
    """The orbit that keeps its shape where circles do not; empty without one."""
    found = under.frozen
    if found is None:
        return ""
    return (
        f"To keep the shape of its orbits, give them an eccentricity of {plain(found.eccentricity, 5)} with the "
        f"periapsis 90 deg {'ahead of' if found.ahead else 'behind'} the node (frozen by J2 and J3, to first order): "
        f"followed by the zonal harmonics alone for {plain(found.over_s / 86_400.0, 0)} days, it moves by "
        f"{plain(found.moves, 5)}, where that of a circle grows to {plain(found.circle_grows, 5)}."
    )


def _correction(outcome: Outcome, under: UnderForces) -> str:
    """What became of the burns."""
    if not under.corrected:
        return "Nothing is corrected for these forces."
    said = f"Its burns are those as corrected, {_added_text(under)} in all."
    if len(outcome.plans) > 1:
        said += " The other plans are made for the bulge alone."
    if under.missed:
        said += f" {_out_of_reach(under)}"
    if under.slots is not None:
        said += f" The slots go round in {clock(under.slots.period_s, 3)} under these forces, on the mean."
    return said


def _out_of_reach(under: UnderForces) -> str:
    """Whose correction fell short; empty where none did."""
    return f"The correction did not reach its aim for {listed(list(under.missed))}." if under.missed else ""


def _chosen_words(chosen: Chosen) -> str:
    left_out = []
    for one in chosen.left_out:
        size = math.degrees(one.shift_rad_year)
        words = f"{small(size)} deg a year" if size >= LEAST_DEG_YEAR else f"under {LEAST_DEG_YEAR} deg a year"
        left_out.append(f"{one.name}, {words}")
    out = f"; left out: {'; '.join(left_out)} (estimates, good to a factor of three)" if left_out else ""
    ends = (
        f" Beyond degree {chosen.degree} the field is not known here, and higher degrees may matter."
        if chosen.field_ends
        else ""
    )
    return f"{', '.join(chosen.flown)}{out}.{ends}"


def _planes(outcome: Outcome) -> str:
    """How far planes part under the forces; empty where that is next to nothing, or judged by its limit."""
    parts = [part for plan in outcome.plans if plan.rank == 1 for part in plan.craft]
    if outcome.scenario.ring.tilt_tolerance_rad > 0.0 or not parts:
        return ""
    worst = max(parts, key=lambda part: part.flown.plane_error_rad)
    tilt = math.degrees(worst.flown.plane_error_rad)
    if tilt < LEAST_TILT_DEG:
        return ""
    return (
        f"These forces turn planes by up to {small(tilt)} deg against that of the ring ({worst.craft}): no burn is "
        "planned against that, and as a tilt the plan is judged by the bulge alone."
    )


def _found(outcome: Outcome, under: UnderForces) -> list[str]:
    said = _spacing(outcome.scenario, under, "plan 1")
    planes = [_planes(outcome)] if any(one.spacing_rad is not None for one in under.craft) else []
    return [_correction(outcome, under), *said, *planes]


def _spacing(scenario: Scenario, under: UnderForces, plan: str) -> list[str]:
    """How craft stand at the end of a plan, against one another and together."""
    turns = f"means over {TURNS} turns"
    through = [one for one in under.craft if one.spacing_rad is not None]
    lost = [one.craft for one in under.craft if one.spacing_rad is None]
    said = []
    if lost:
        said.append(f"{listed(lost)} came down or did not come round: DO NOT FLY {plan.upper()} AS IT IS.")
    if not through:
        return said
    shift = math.degrees(under.common_shift_rad)
    side = "ahead of" if shift > 0.0 else "behind"
    if len(through) > 1:
        worst = max(through, key=lambda one: abs(one.spacing_rad or 0.0))
        size = abs(math.degrees(worst.spacing_rad or 0.0))
        said.append(
            f"At its end the spacing is off by {small(size)} deg at most ({worst.craft}), and all craft together are "
            f"{small(abs(shift))} deg {side} their slots under these forces, {turns}."
        )
    else:
        said.append(f"At its end {through[0].craft} is {small(abs(shift))} deg {side} its slot, {turns}.")
    tolerance = scenario.ring.tolerance_rad
    if any(abs(one.spacing_rad or 0.0) > tolerance for one in through):
        said.append(f"That is outside the tolerance of {plain(math.degrees(tolerance), 2)} deg.")
    return said
