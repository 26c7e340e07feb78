"""The craft that acts first: its burns, what to read after each, how exact that must be, and what to do past it."""

from __future__ import annotations

import math

from ..models.bodies import body as built_in
from ..models.bodies import body_names
from ..models.flight.gravity import gravity_around
from ..models.readouts import clock, instant, plain, span
from ..optimizer.craft_plan import CraftPlan
from ..optimizer.limits import finish_within, revolutions_max, wait_within
from ..optimizer.outcome import Outcome, Plan
from ..optimizer.robustness.sensitivity import Sensitivity, sensitivities
from .burn_table import burn_table
from .flown_words import gravity_of
from .layout import heading, note, shell_lines
from .wording import small


def first_to_act(outcome: Outcome, first: Plan, width: int) -> list[str]:
    """Lines on the craft with the earliest liftoff or burn; none where nothing moves."""
    moving = [part for part in first.craft if part.burns or part.launch_s is not None]
    if not moving:
        return []
    part = min(moving, key=lambda part: part.burns[0].time_s if part.launch_s is None else part.launch_s)
    epoch = outcome.scenario.epoch
    lines = heading(f"First to act: {part.craft}", width)
    if part.launch_s is not None:
        pad = f" from {part.pad}" if part.pad else ""
        text = f"Liftoff{pad} at {instant(epoch, part.launch_s)}"
        if part.heading is not None:
            north = "northbound" if part.heading.ascending else "southbound"
            degrees = plain(math.degrees(part.heading.flight_azimuth_rad), 2)
            text += f" on a flight azimuth of {degrees} deg ({north} pass of the ring)"
        if part.insertion_s is not None:
            text += f", insertion at {instant(epoch, part.insertion_s)}"
            text += f" ({part.insertion})" if part.insertion else ""
            if part.insertion_speed_m_s is not None:
                text += f" with {plain(part.insertion_speed_m_s)} m/s, which the launcher gives"
        text += f", aboard {part.carrier}" if part.carrier is not None else ""
        lines += note(f"{text}.", width)
    lines += burn_table(outcome, part.burns, width) if part.burns else []
    for remark in _exactness(outcome, part):
        lines += note(remark, width)
    command = after_burn_command(outcome, part)
    if command:
        lines += note("After the first burn, to see where its period at cut-off (for PERIOD) leads:", width)
        lines += shell_lines(command, width, indent="    ")
    return lines


def next_periods_s(outcome: Outcome, part: CraftPlan, most: int = 3) -> list[float]:
    """The next periods that fit, each one revolution and one turn more, should the first burn go past its cut-off.

    The wait w = (2 pi m - L) / n grows by turns T and is shared among k + 1 revolutions and so on. None where the first
    burn does not bring the craft nearer to the ring's own period (then going past it is not free); no more than the
    limits of the scenario allow.
    """
    period_s = part.phasing_period_s
    if part.side == "level" or part.route == "timed" or period_s is None or len(part.burns) < 2:
        return []
    towards = part.burns[0].along_m_s if part.side == "below" else -part.burns[0].along_m_s
    if towards <= 0.0:
        return []
    turn_s, scenario, k = outcome.ring.period_s, outcome.scenario, part.revolutions
    # over an oblate body an instrument shows a little more or less than the time from return to return, here as there
    shown_s = (part.cut_off_period_s or period_s) - period_s
    found: list[float] = []
    for more in range(1, most + 1):
        end_s = part.in_slot_s + more * turn_s
        in_time = finish_within.LIMIT.kept(scenario, end_s)
        in_time = in_time and wait_within.LIMIT.kept(scenario, end_s - part.ring_arrival_s)
        if not in_time or not revolutions_max.LIMIT.kept(scenario, k + more):
            break
        found.append((k * period_s + more * turn_s) / (k + more) + shown_s)
    return found


def after_burn_command(outcome: Outcome, part: CraftPlan) -> str:
    """The command that prints where the period read after the first burn leads, and which one to go to next.

    Empty where the one-craft question does not cover the way: no phasing, free-form, a parking orbit, more than two
    burns, one that turns the plane, an arrival that does not touch the ring, or oblateness, which that question leaves
    out: a period read by an instrument would be taken for one in two-body gravity.
    """
    scenario, ring, body = outcome.scenario, outcome.ring, outcome.scenario.body
    if gravity_of(outcome) != "two-body":
        return ""
    if part.side == "level" or part.route not in {"direct", "shift"} or len(part.burns) != 2:
        return ""
    if any(abs(burn.cross_m_s) >= 0.01 for burn in part.burns):
        return ""
    arrival = _arrival_radii_m(outcome, part)
    if arrival is None:
        return ""

    def km(radius_m: float) -> str:
        return f"{(radius_m - body.radius_m) * 1e-3:.10g}"

    known = built_in(body.name) if body.name.lower() in body_names() else None
    if known is not None and (known.gm, known.radius_m) == (body.gm, body.radius_m):
        words = [f"--around {body.name}"]
    else:
        words = [f"--gm {body.gm * 1e-9:.12g}km3/s2", f"--radius {body.radius_m * 1e-3:.10g}km"]
    lead_deg = math.degrees(part.lead_rad)
    words += [
        f"--ring {km(ring.radius_m)}km",
        f"--slot-{'ahead' if lead_deg >= 0.0 else 'behind'} {abs(lead_deg):.8g}deg",
    ]
    other = arrival[0] if abs(arrival[1] - ring.radius_m) <= _TOUCHES_M else arrival[1]
    if abs(other - ring.radius_m) > _TOUCHES_M:
        low, high = sorted((other, ring.radius_m))
        words.append(f"--from {km(low)}x{km(high)}km")
    words.append(f"--floor {km(scenario.floor_m)}km")
    return f"ringwright period {' '.join(words)} --got PERIOD"


_TOUCHES_M = 1.0


def _arrival_radii_m(outcome: Outcome, part: CraftPlan) -> tuple[float, float] | None:
    """Apsides of the orbit on which a craft comes to its first burn, None where none of them is on the ring."""
    craft = next((craft for craft in outcome.scenario.craft if craft.name == part.craft), None)
    radii: tuple[float, float] | None = None
    if craft is not None and craft.orbit is not None:
        radii = (craft.orbit.periapsis_m, craft.orbit.apoapsis_m)
    elif part.insertion is not None:
        offered = [way for pad in outcome.scenario.pads if pad.name == part.pad for way in pad.insertions]
        radii = next(((way.periapsis_m, way.apoapsis_m) for way in offered if way.name == part.insertion), None)
    if radii is None or min(abs(radius_m - outcome.ring.radius_m) for radius_m in radii) > _TOUCHES_M:
        return None
    return radii


def _exactness(outcome: Outcome, part: CraftPlan) -> list[str]:
    """How exact the phasing burn must be, and the next period should it go too far; as on the sheet."""
    period_s, index = part.phasing_period_s, part.phasing_burn
    if part.side == "level" or period_s is None or index is None or not part.before_burns:
        return []
    gravity = gravity_around(outcome.scenario.body)
    lines = [exact_text(outcome, sensitivities(part, outcome.ring, gravity)[index], index)]
    return lines + [
        f"If burn {index + 1} goes past {clock(part.cut_off_period_s or period_s)}, do not burn back: go on to "
        f"{clock(one)} and stay one revolution longer. That costs no more in all, only {span(outcome.ring.period_s)}."
        for one in next_periods_s(outcome, part, 1)
    ]


def exact_text(outcome: Outcome, slope: Sensitivity, index: int) -> str:
    """How far the period at cut-off of a burn may be off, in one sentence.

    Args:
        slope: what the errors of the burn make of the slot, as flown.
        index: of the burn, from 0.
    """
    tolerance_rad = outcome.scenario.ring.tolerance_rad
    per_s = math.degrees(abs(slope.per_period_s))
    return (
        f"How exact: each second of period at cut-off of burn {index + 1} moves the craft {small(per_s)} deg from its "
        f"slot, later burns as planned; {small(math.degrees(tolerance_rad))} deg of tolerance allow "
        f"{small(slope.allowed_period_s(tolerance_rad))} s either way."
    )
