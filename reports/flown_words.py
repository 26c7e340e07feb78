"""How a plan was flown, and what its flight found: by name for programs, in words for a person."""

from __future__ import annotations

import math

from ..models.readouts import listed, plain, span
from ..optimizer.outcome import Outcome, Plan
from .wording import small

GRAVITY_WORDS = {"two-body": "two-body gravity", "j2": "gravity with the body's oblateness (J2)"}
"""The gravity model of a result, in words."""


_TILT_WORTH_DEG = 1e-4
"""A tilt below this goes unsaid where no craft is launched off the plane."""


def gravity_of(outcome: Outcome) -> str:
    """Name the gravity model of the plans, ``two-body`` or ``j2``, as the result spells it."""
    # a body may carry a J2 that the plan did not use: the ring's own rates show what was flown
    ring = outcome.ring
    kepler = math.sqrt(ring.gm / ring.radius_m**3)
    oblate = ring.node_rate_rad_s != 0.0 or not math.isclose(ring.rate_rad_s, kepler, rel_tol=1e-9)
    return "j2" if oblate else "two-body"


def burn_model_of(outcome: Outcome) -> str:
    """Name the burn model of the plans as the result spells it: finite where any craft flies with its own thrust."""
    finite = any(part.engine for plan in (*outcome.plans, *outcome.rejected) for part in plan.craft)
    return "finite" if finite else "impulsive"


def model_words(outcome: Outcome) -> str:
    gravity = GRAVITY_WORDS[gravity_of(outcome)]
    burns = {"impulsive": "impulsive burns", "finite": "burns of real length"}[burn_model_of(outcome)]
    return f"{gravity} and {burns}"


def model_text(outcome: Outcome, plan: Plan) -> str:
    """By which forces a plan was flown, and what that leaves out."""
    return f"Flown numerically: {_flown_with(outcome, plan)}."


def flown_text(outcome: Outcome, plan: Plan) -> str:
    """What the flight of a plan found; nothing where no craft moves."""
    return f"{_flown_text(plan)}{_longest_burn_text(outcome, plan)}" if plan.craft else ""


def _flown_with(outcome: Outcome, plan: Plan) -> str:
    """The forces and the burns of a plan's flight, and what that leaves out."""
    arcs = ["burn arcs"] if burn_model_of(outcome) == "impulsive" else []
    under = outcome.under
    if under is not None and under.corrected and plan.rank == 1:
        burns = "impulsive burns" if arcs else "burns of real length"
        left_out = listed([*(one.name for one in under.chosen.left_out), *arcs])
        words = f"{', '.join(under.chosen.flown)}, and {burns}"
        return f"{words}, an approximation that leaves out {left_out}" if left_out else words
    left_out = listed([*([] if gravity_of(outcome) == "j2" else ["oblateness"]), "drag", "other bodies", *arcs])
    return f"{model_words(outcome)}, an approximation that leaves out {left_out}"


def _longest_burn_text(outcome: Outcome, plan: Plan) -> str:
    """The longest burn against a turn of the ring, and what the length of all of them costs or leaves out."""
    lengths = [(burn.duration_s or 0.0, part.craft) for part in plan.craft for burn in part.burns]
    longest_s, craft = max(lengths, default=(0.0, ""))
    if longest_s <= 0.0:
        return ""
    share = longest_s / outcome.ring.period_s
    if burn_model_of(outcome) == "impulsive":
        return (
            f" The longest burn, {craft}'s, would run {span(longest_s)}, {100.0 * share:.1f} % of a turn of the ring."
        )
    turned = [
        (burn.own_m_s, outcome.ring.rate_rad_s * (burn.duration_s or 0.0)) for part in plan.craft for burn in part.burns
    ]
    lost = math.fsum(size * angle**2 / 24.0 for size, angle in turned)
    return (
        f" The longest burn, {craft}'s, runs {span(longest_s)}, {100.0 * share:.1f} % of a turn of the ring; that "
        f"burns take time costs about {plain(lost, 2)} m/s in all."
    )


def _flown_text(plan: Plan) -> str:
    slot_deg = max(abs(math.degrees(part.flown.slot_error_rad)) for part in plan.craft)
    period_s = max(abs(part.flown.period_error_s) for part in plan.craft)
    tilt_deg = max(abs(math.degrees(part.flown.plane_error_rad)) for part in plan.craft)
    text = f"At the end slots are met to {small(slot_deg)} deg and the ring's period to {small(period_s)} s."
    if tilt_deg >= _TILT_WORTH_DEG or any(part.heading is not None for part in plan.craft):
        text += f" Planes agree to {small(tilt_deg)} deg."
    guesses = [part.first_guess_error_rad for part in plan.craft if part.first_guess_error_rad is not None]
    if guesses:
        missed_deg = math.degrees(max(abs(guess) for guess in guesses))
        text += (
            f" Burns were corrected by the flight: planned by ratios of periods alone they miss a slot by "
            f"{small(missed_deg)} deg."
        )
    near = [part for part in plan.craft if part.flown.closest_m is not None]
    if near:
        part = min(near, key=lambda part: part.flown.closest_m or 0.0)
        text += f" Closest to craft in place: {part.craft}, {plain((part.flown.closest_m or 0.0) * 1e-3)} km"
        text += f" from {part.flown.closest_to}." if part.flown.closest_to else "."
    if any(part.apart_s for part in plan.craft):
        text += (
            " Craft that start together are screened against one another once they have been outside the separation."
        )
    return text
