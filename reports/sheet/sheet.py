"""A maneuver sheet: one craft's burns on one page, with boxes to tick and blanks for what was read.

This module decides what stands on it; ``text.py`` and ``pdf.py`` set it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...models import frames
from ...models.flight.flown import readout
from ...models.readouts import clock, days_and_clock, instant, plain, span
from ...models.ring import Ring
from ...models.scenario import Craft
from ...optimizer.craft_plan import Burn, CraftPlan
from ...optimizer.outcome import Outcome, Plan
from ...optimizer.robustness.hold import trim_m_s
from ...optimizer.robustness.missed_burn import Missed, missed
from ...optimizer.robustness.sensitivity import Sensitivity, sensitivities
from ..burn_table import burn_words
from ..hold import forced_hold, forced_text, missing_text, own_trims_text, trim_text
from ..left_alone import ring_lasts_text
from ..remarks import CAUTION
from ..wording import capital, count, small, way_text


@dataclass(frozen=True, kw_only=True)
class Blank:
    """Something to read: what is expected, and room to write what was read."""

    what: str
    expected: str


@dataclass(frozen=True, kw_only=True)
class Block:
    """A part of the sheet: a heading, steps to tick, blanks to fill, how exact as rows of error and effect, remarks."""

    heading: str
    steps: tuple[str, ...] = ()
    blanks: tuple[Blank, ...] = ()
    exact: tuple[tuple[str, str], ...] = ()
    remarks: tuple[str, ...] = ()


EXACT = ("how exact: an error of", "moves the slot by, deg")
"""Heads of the table of what small errors do."""

READABLE_S = 1.0
"""A change of period in a burn that turns the plane, s, by which it can still be cut off."""

EXACT_BY = "Slot as the mean of the first turn, with later burns as planned."


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One craft's sheet."""

    craft: str
    title: str
    summary: str
    blocks: tuple[Block, ...]
    caution: str = CAUTION


def sheets(outcome: Outcome, plan: Plan, names: Sequence[str] = ()) -> tuple[Sheet, ...]:
    """The sheets of a plan's craft that have something to do, in the order of the plan.

    Args:
        names: only these craft; all of them where empty.
    """
    return tuple(
        sheet(outcome, plan, part)
        for part in plan.craft
        if (not names or part.craft in names) and (part.burns or part.launch_s is not None)
    )


def sheet(outcome: Outcome, plan: Plan, part: CraftPlan) -> Sheet:
    """One craft's sheet. The sensitivities come from the numerical flight, each burn flown a little off."""
    from ...models.flight.gravity import gravity_around

    outcome, scenario = outcome.at_phase_of(plan), outcome.scenario
    craft = next(one for one in scenario.craft if one.name == part.craft)
    slopes = sensitivities(part, outcome.ring, gravity_around(scenario.body))
    burns = [_burn(outcome, plan, part, craft, index, slope) for index, slope in enumerate(slopes)]
    blocks = (_before(outcome, part), *burns, _after(outcome, plan, part))
    broken = [one for one in plan.broken if one.craft == part.craft]
    said = f" THIS PLAN BREAKS A LIMIT FOR {part.craft}: DO NOT FLY IT AS IT IS." if broken else ""
    return Sheet(
        craft=part.craft,
        title=f"{part.craft} to slot {part.slot}: {scenario.title}",
        summary=f"Plan {plan.rank}. {capital(way_text(part))}; {plain(part.delta_v_m_s, 2)} m/s in "
        f"{count(len(part.burns), 'burn')}, in its slot at {instant(scenario.epoch, part.in_slot_s)}.{said}",
        blocks=blocks,
    )


def _before(outcome: Outcome, part: CraftPlan) -> Block:
    epoch = outcome.scenario.epoch
    steps = []
    if part.launch_s is not None:
        steps.append(f"Liftoff from {part.pad} at {instant(epoch, part.launch_s, 1)}{_azimuths(part)}{_into(part)}.")
        if part.insertion_s is not None:
            speed = "" if part.insertion_speed_m_s is None else f", {plain(part.insertion_speed_m_s)} m/s inertial"
            after = clock(part.insertion_s - part.launch_s)
            named = f" ({part.insertion})" if part.insertion else ""
            steps.append(f"Insertion{named} {after} after liftoff, at {instant(epoch, part.insertion_s, 1)}{speed}.")
    steps.append("Clock set and checked against the epoch; plan and sheet come from the same run.")
    return Block(heading="Before", steps=tuple(steps))


def _azimuths(part: CraftPlan) -> str:
    """The azimuth of a launch, inertial and over the turning ground."""
    if part.azimuth_rad is None:
        return ""
    ground = "" if part.heading is None else f", {plain(math.degrees(part.heading.flight_azimuth_rad), 3)} over ground"
    return f", on azimuth {plain(math.degrees(part.azimuth_rad), 3)} deg inertial{ground}"


def _into(part: CraftPlan) -> str:
    """The plane launched into, where the craft drifts from there into another one."""
    other = part.heading is not None and part.heading.plane != part.plane
    return f", into plane {part.heading.plane} of the ring" if part.heading is not None and other else ""


def _direction(burn: Burn) -> str:
    """The direction in words, with its angles above the horizon and off the plane."""
    flat = math.hypot(burn.along_m_s, burn.cross_m_s)
    up = math.degrees(math.atan2(burn.radial_m_s, flat))
    way = "forward" if burn.along_m_s >= 0.0 else "back"
    side = math.degrees(math.atan2(burn.cross_m_s, abs(burn.along_m_s)))
    level = "on the horizon" if abs(up) < 0.005 else f"{abs(up):.2f} deg {'above' if up > 0 else 'below'} the horizon"
    turned = (
        "in the orbit plane" if abs(side) < 0.005 else f"{abs(side):.2f} deg {'left' if side > 0 else 'right'} of track"
    )
    return f"{way}, {level}, {turned}"


def _burn(outcome: Outcome, plan: Plan, part: CraftPlan, craft: Craft, index: int, slope: Sensitivity) -> Block:
    burn, epoch = part.burns[index], outcome.scenario.epoch
    since, what = _last_event(part, index)
    half_s = 0.5 * (burn.duration_s or 0.0)
    ignition_s = burn.time_s - half_s
    times = f"{'Ignition' if half_s else 'Burn'} at {instant(epoch, ignition_s, 1)}"
    if part.launch_s is not None:
        times += f", {clock(ignition_s - part.launch_s)} after liftoff"
    if since is not None:
        times += f", {days_and_clock(ignition_s - since)} after {what}"
    give = f"{burn_words(burn)}; point {_direction(burn)}."
    steps = [f"{times}.", give]
    if burn.duration_s:
        steps.append(_length_words(craft, burn))
    before = readout(part.before_burns[index], outcome.ring.gm)
    steps.append("Cut off by the period below; then write down the readings.")
    if part.free_form is not None:
        steps[-1] = "Cut off by the delta-v or the clock: no period leads to the slot on this flight."
    elif not _by_period(part, index, outcome.ring.gm):
        steps[-1] = "Cut off by the delta-v or the clock: this burn turns the plane and hardly changes the period."
    radius_m = outcome.scenario.body.radius_m
    blanks = (
        Blank(what="period before burn", expected=clock(before.period_s)),
        Blank(what="PERIOD AT CUT-OFF", expected=clock(burn.period_after_s)),
        Blank(what="periapsis after, km", expected=plain((burn.periapsis_after_m - radius_m) * 1e-3)),
        Blank(what="apoapsis after, km", expected=plain((burn.apoapsis_after_m - radius_m) * 1e-3)),
        Blank(what="speed after, m/s", expected=plain(_speed_after(part, index), 2)),
        _neighbor(outcome, plan, part, index),
    )
    return Block(
        heading=f"Burn {index + 1} of {len(part.burns)}",
        steps=tuple(steps),
        blanks=blanks,
        exact=_slopes(part, slope, _by_period(part, index, outcome.ring.gm)),
        remarks=(*_exact(outcome, part, craft, index, slope), _missed_words(outcome, part, index)),
    )


def _last_event(part: CraftPlan, index: int) -> tuple[float | None, str]:
    if index > 0:
        return part.burns[index - 1].time_s, f"burn {index}"
    if part.insertion_s is not None:
        return part.insertion_s, "insertion"
    return None, ""


def _speed_after(part: CraftPlan, index: int) -> float:
    state = np.array(part.before_burns[index])
    burn = part.burns[index]
    push = frames.from_local(state[:3], state[3:], [burn.radial_m_s, burn.along_m_s, burn.cross_m_s])
    return float(np.linalg.norm(state[3:] + push))


def _neighbor(outcome: Outcome, plan: Plan, part: CraftPlan, index: int) -> Blank:
    """How far the next craft in place is ahead at a burn."""
    ring, time_s = outcome.ring, part.burns[index].time_s
    state = np.array(part.before_burns[index])
    node = ring.node(time_s, part.plane)
    own = float(frames.latitude_argument(state[:3], ring.inclination_rad, node))
    there = [(kept.craft, kept.slot, kept.error_rad) for kept in outcome.kept]
    there += [
        (other.craft, other.slot, 0.0)
        for other in plan.craft
        if other.craft != part.craft and other.plane == part.plane and other.in_slot_s <= time_s
    ]
    if not there:
        return Blank(what="neighbor ahead, deg", expected="no craft in place yet")
    turn = 2.0 * math.pi
    ahead = [((float(ring.phase(time_s, slot, part.plane)) + error - own) % turn, name) for name, slot, error in there]
    angle, name = min(ahead)
    return Blank(what=f"{name} is ahead by, deg", expected=f"{math.degrees(angle):.2f}")


def _length_words(craft: Craft, burn: Burn) -> str:
    """How long the burn runs at full thrust, and at the least that the motor gives."""
    duration = burn.duration_s or 0.0
    thrust = plain(craft.thrust_n or 0.0, 0)
    text = f"{duration:.1f} s at full thrust ({thrust} N), half of it before the time of the impulse"
    if craft.throttle_min < 1.0:
        text += f"; {duration / craft.throttle_min:.1f} s at the least thrust ({100.0 * craft.throttle_min:.0f} %)"
    return text + "."


def _exact(outcome: Outcome, part: CraftPlan, craft: Craft, index: int, slope: Sensitivity) -> list[str]:
    """How exact the burn must be, and whether a person can cut it off by hand."""
    tolerance_rad = outcome.scenario.ring.tolerance_rad
    remarks = [EXACT_BY]
    if slope.per_m_s == 0.0:
        return remarks
    allowed_m_s = tolerance_rad / abs(slope.per_m_s)
    allowed = f"{small(allowed_m_s)} m/s, either way"
    if allowed_m_s >= part.burns[index].delta_v_m_s:
        allowed = "an error as large as the burn"
    if _by_period(part, index, outcome.ring.gm):
        allowed = f"{small(slope.allowed_period_s(tolerance_rad))} s of period at cut-off, or {allowed}"
    remarks.append(f"{small(math.degrees(tolerance_rad))} deg of tolerance allow {allowed}.")
    hand = _by_hand(craft, part.burns[index], allowed_m_s)
    if hand:
        remarks.append(hand)
    remarks += _periods_that_serve(outcome, part, index)
    return remarks


def _by_period(part: CraftPlan, index: int, gm: float) -> bool:
    """Whether a burn can be cut off by the period that an instrument reads: free-form flights and turns cannot."""
    changed_s = part.burns[index].period_after_s - readout(part.before_burns[index], gm).period_s
    return part.free_form is None and (
        abs(part.burns[index].cross_m_s) < abs(part.burns[index].along_m_s) or abs(changed_s) > READABLE_S
    )


def _slopes(part: CraftPlan, slope: Sensitivity, by_period: bool) -> tuple[tuple[str, str], ...]:
    """What each small error moves the slot by, deg, as rows of a table."""
    degree = math.radians(1.0)
    rows = [
        ("1 s of period too long", slope.per_period_s if by_period else None),
        ("1 s late", slope.per_s),
        ("1 m/s too much", slope.per_m_s),
        ("1 deg too far out", slope.per_pitch * degree),
        ("1 deg too far left", slope.per_yaw * degree),
    ]
    return tuple((what, _deg(value)) for what, value in rows if value is not None)


def _deg(value_rad: float) -> str:
    value = math.degrees(value_rad)
    size = small(abs(value))
    sign = "" if value == 0.0 or size.startswith("under") else "+" if value > 0.0 else "-"
    return f"{sign}{size}"


def unsigned_zero(text: str) -> str:
    """A rounded number without the minus that stands before nothing but zeros.

    >>> unsigned_zero("-0.0000"), unsigned_zero("-0.0010")
    ('0.0000', '-0.0010')
    """
    return text.lstrip("-") if not text.strip("-0.") else text


def _by_hand(craft: Craft, burn: Burn, allowed_m_s: float) -> str:
    """The thrust at which a person's reaction keeps within what is allowed."""
    if craft.thrust_n is None or craft.dry_mass_kg is None or burn.propellant_after_kg is None:
        return ""
    full = craft.thrust_n / (craft.dry_mass_kg + burn.propellant_after_kg)
    share = allowed_m_s / (full * craft.reaction_s)
    doubt = f"a reaction of {small(craft.reaction_s)} s is {small(full * craft.reaction_s)} m/s at full thrust"
    if share >= 1.0:
        return f"By hand: {doubt}, within what is allowed."
    if share >= craft.throttle_min:
        return f"By hand: {doubt}, too much; at {100.0 * share:.0f} % of thrust or less it is within what is allowed."
    return (
        f"NOT BY HAND: {doubt}, and even the least thrust ({100.0 * craft.throttle_min:.0f} %) is too much for "
        f"{small(allowed_m_s)} m/s. Cut off by the instrument, or plan a trim."
    )


def _periods_that_serve(outcome: Outcome, part: CraftPlan, index: int) -> list[str]:
    """The next periods that bring the craft into its slot at no more cost, should the first burn go too far."""
    from ..first_to_act import next_periods_s

    periods = next_periods_s(outcome, part) if index == part.phasing_burn else []
    if not periods:
        return []
    found = [f"{clock(one)} ({part.revolutions + more} revolutions)" for more, one in enumerate(periods, start=1)]
    return [
        "Gone past it? Do not burn back. These serve as well, at no more cost, each "
        f"{span(outcome.ring.period_s)} later: {', '.join(found)}."
    ]


def _missed_words(outcome: Outcome, part: CraftPlan, index: int) -> str:
    found: Missed = missed(outcome.scenario, outcome.ring, part, index)
    if found.kind == "re-entry":
        return (
            "IF IT IS MISSED: the orbit falls below the lowest altitude allowed before it comes back. No second chance."
        )
    if found.kind == "other plane":
        return (
            "If it is missed: replan. Its plane is not yet that of its slot, and what another chance costs depends on "
            "where the planes cross and how they drift."
        )
    epoch = outcome.scenario.epoch
    if found.kind == "replan" and math.isnan(found.next_s):
        return (
            "If it is missed: replan. No phasing orbit on the ring begins at this burn, so what another chance costs "
            "takes a new search."
        )
    if found.kind == "replan":
        return (
            f"If it is missed: back there at {instant(epoch, found.next_s)}, from where no phasing orbit keeps the "
            "limits. Replan."
        )
    where = "ahead" if found.lead_rad >= 0.0 else "behind"
    more = found.more_m_s
    cost = (
        "at about the same cost"
        if abs(more) < 1.0
        else f"for about {plain(abs(more))} m/s {'more' if more > 0 else 'less'}"
    )
    lead = plain(abs(math.degrees(found.lead_rad)))
    return (
        f"If it is missed: back there at {instant(epoch, found.next_s)}, the slot {lead} deg {where} then. From there "
        f"it is in its slot at about {instant(epoch, 60.0 * round(found.in_slot_s / 60.0))} {cost}, by phasing as the "
        "catalogue plans it. Replan before that burn."
    )


def look_at_s(part: CraftPlan, ring: Ring) -> float:
    """When to look at a craft again that is in its slot, s from the epoch: one turn of the ring later."""
    return part.in_slot_s + ring.period_s


def _after(outcome: Outcome, plan: Plan, part: CraftPlan) -> Block:
    ring, epoch = outcome.ring, outcome.scenario.epoch
    look_s, under = look_at_s(part, ring), outcome.under
    slots = under.slots if under is not None and under.corrected and plan.rank == 1 else None
    turn_s = (slots or ring).period_s
    remarks = []
    forced = forced_hold(outcome, plan)
    if plan.hold is not None:
        remarks.append(
            f"Trim where the period read is off by more than {small(plan.hold.match_s)} s, which spoils the spacing "
            f"within {span(plan.hold.wanted_s)}: 1 s of period is {small(trim_m_s(ring, 1.0))} m/s along the track."
        )
    if forced is not None:
        remarks += [forced_text(outcome, forced)] if forced.craft == part.craft else []
        remarks += [one for one in (own_trims_text(outcome, forced, part.craft),) if one]
    elif plan.hold is not None:
        if plan.hold.refused:
            remarks.append(f"No figure for how long that holds: {plan.hold.refused}.")
        elif plan.hold.missing_s < plan.hold.wanted_s:
            remarks.append(f"Look again before then: {missing_text(outcome, plan.hold)}.")
        if plan.hold.craft == part.craft:
            remarks += [one for one in (trim_text(outcome, plan.hold),) if one]
    lasts = next((one for one in outcome.left_alone if one.what == "ring" and part.craft in one.who), None)
    if lasts is not None and plan.rank == 1:
        remarks.append(f"{ring_lasts_text(outcome, lasts)} Its disposal is for the operator.")
    return Block(
        heading="After",
        steps=(f"Look again one turn later, at {instant(epoch, look_s)}; trim at the next pass if it is off.",),
        blanks=(
            Blank(what="mean period, pass to pass", expected=clock(turn_s + part.flown.period_error_s)),
            Blank(what="slot error, deg", expected=unsigned_zero(f"{math.degrees(part.flown.slot_error_rad):.4f}")),
        ),
        remarks=tuple(remarks),
    )
