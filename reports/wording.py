"""Sentences about plans: which way a craft takes, and why one plan is dearer or sooner than another.

Words only; nothing here computes a plan. Times are seconds from the epoch, angles radians, as everywhere inside.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence

from ..models.readouts import listed as listed
from ..models.readouts import plain, span
from ..models.scenario import Scenario
from ..models.units import DAY_S, YEAR_S
from ..optimizer.craft_plan import CraftPlan
from ..optimizer.outcome import Kept, Plan

AIM_WORDS = {
    "delta_v": "the least total delta-v",
    "finish": "the earliest finish",
    "propellant": "the least propellant",
    "worst_delta_v": "the least delta-v of the craft that needs most",
}

_PAD_WORTH_S = 30.0  # liftoffs nearer than this are the same to a reader


SIDE_WORDS = {"below": "lower orbit", "above": "higher orbit", "level": "the ring itself"}
"""On which side of the ring a craft phases."""


def count(number: int, singular: str, plural: str = "") -> str:
    """Say a number with its noun.

    >>> count(1, "revolution"), count(3, "revolution"), count(2, "craft", "craft")
    ('1 revolution', '3 revolutions', '2 craft')
    >>> count(1039, "trim")
    '1 039 trims'
    """
    return f"{plain(number, 0)} {singular if number == 1 else plural or singular + 's'}"


def folded(notes: Sequence[str], most: int = 3) -> list[str]:
    """Notes without repetition: those that differ in names and numbers alone are counted after the first few.

    >>> folded(["Birch waits 3 days.", "Fir waits 4 days.", "Yew waits 5 days."], most=1)
    ['Birch waits 3 days.', 'and 2 more notes of this kind in the file']
    """
    groups: dict[str, list[str]] = {}
    for note in dict.fromkeys(notes):
        groups.setdefault(re.sub(r"\b[A-Z][\w-]*|[\d.]+", "", note), []).append(note)
    lines: list[str] = []
    for alike in groups.values():
        lines += alike[:most]
        if len(alike) > most:
            lines.append(f"and {count(len(alike) - most, 'more note')} of this kind in the file")
    return lines


def capital(text: str) -> str:
    """The text with a capital first, names in it as they are."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Make a note a sentence: a capital first, a period last."""
    text = text.strip()
    return capital(text) + ("" if text.endswith((".", "!", "?")) else ".")


def small(value: float) -> str:
    """Write a small error with two meaningful digits, never in powers of ten down to a millionth.

    >>> small(0.0000234), small(0.62), small(0.0), small(2676.4)
    ('0.000023', '0.62', '0', '2 676')
    """
    if value == 0.0:
        return "0"
    places = min(6, max(0, 1 - math.floor(math.log10(abs(value)))))
    return plain(value, places) if round(value, places) else f"under {10.0**-places:.{places}f}"


def rough_span(seconds: float, whole_from: float = 10.0) -> str:
    """A span of which only the order counts, in hours, days or years; from so many of them on in whole ones.

    >>> rough_span(0.31 * YEAR_S), rough_span(8.43 * YEAR_S), rough_span(3.2 * DAY_S), rough_span(7_300.0, 1.5)
    ('113 days', '8.4 years', '3.2 days', '2 hours')
    """
    units = (("years", YEAR_S), ("days", DAY_S), ("hours", 3600.0))
    unit, length = next((one for one in units if seconds >= 2.0 * one[1]), units[-1])
    return f"{plain(seconds / length, 0) if seconds >= whole_from * length else small(seconds / length)} {unit}"


def gained_rad(part: CraftPlan) -> float:
    """Angle that a craft gains on the ring by phasing, negative when it falls back: whole turns and the lead."""
    return 2.0 * math.pi * (part.revolutions - part.ring_revolutions) + part.lead_rad


def way_text(part: CraftPlan) -> str:
    """Say in words which way a craft takes to its slot, once it is at the ring."""
    before = []
    if part.carrier is not None:
        drifts = part.route == "drift"
        before.append(f"rides on {part.carrier}" + (", is let go in the parking orbit" if drifts else ""))
    if part.turned_s is not None and part.carrier is None:
        before.append(f"turns into plane {part.plane}")
    if part.route == "drift" or part.parking_wait_s > 0.0:
        home = "its orbit" if part.pad is None else "the parking orbit"
        parks = part.pad is not None and part.route != "drift"
        where = home if parks or part.route == "transfer" or waits_at_home(part) else "another orbit"
        why = " until plane and slot are met" if part.route == "drift" else ""
        before.append(f"waits {span(part.parking_wait_s)} in {where}{why}")
    if part.carrier is not None and part.route != "drift":
        before.append(f"is dropped at touch {part.passes + 1} of the ring")
    elif part.passes:
        before.append(f"passes the ring {count(part.passes, 'time')} before its first burn")
    elif _begins_at_crossing(part):
        before.append(f"waits {span(part.burns[0].time_s - part.ring_arrival_s)} until planes cross")
    after = [] if part.turned_s is None or part.carrier is None else [f"turns into plane {part.plane}"]
    return ", ".join([*before, _phasing_text(part), *after])


def waits_at_home(part: CraftPlan) -> bool:
    """Whether a craft waits for its node to drift in the orbit in which it began."""
    held_s = part.burns[0].time_s - part.screened_from_s if part.burns else 0.0
    return part.route == "drift" and part.parking_wait_s > 0.0 and abs(held_s - part.parking_wait_s) < 1.0


def _begins_at_crossing(part: CraftPlan) -> bool:
    """Whether a craft in space waits to phase from where planes cross, so that its first burn turns the plane, too."""
    if part.burns and part.burns[0].time_s - part.ring_arrival_s < 1.0:
        return False
    if part.route != "shift" or part.launch_s is not None or part.turned_s is not None or part.revolutions == 0:
        return False
    across = abs(part.burns[0].cross_m_s) if part.burns else 0.0
    return across > 0.05 and abs(part.burns[0].along_m_s) > 0.05


def _phasing_text(part: CraftPlan) -> str:
    if part.route == "timed":
        turned = "" if part.revolutions == 0 else f" over {count(part.revolutions, 'revolution')}"
        return f"free-form, {count(len(part.burns), 'burn')}{turned}"
    if part.side == "level":
        return "arrives in place" if part.burns else "is in place"
    degrees = math.degrees(gained_rad(part))
    verb = "gains" if degrees >= 0 else "falls back"
    return f"{verb} {plain(abs(degrees))} deg in {count(part.revolutions, 'revolution')}, {SIDE_WORDS[part.side]}"


def heading_text(part: CraftPlan) -> str:
    """Say on which heading a craft is launched, and what becomes of a tilt; empty for a site always in the plane.

    The azimuth is the one over the ground. The plane launched into is named where the slot is in another one.
    """
    heading = part.heading
    if heading is None:
        return ""
    text = f"on azimuth {plain(math.degrees(heading.flight_azimuth_rad))} deg"
    if heading.plane != part.plane:
        text += f" into plane {heading.plane}"
    if heading.tilt_rad > 0.0:
        text += f", tilted {plain(math.degrees(heading.tilt_rad), 2)} deg, {_TILT_WORDS[heading.tilt_at]}"
    return text


_TILT_WORDS = {
    "kept": "which is kept",
    "apsis": "turned back in its burns",
    "node": "turned back at the node",
}


def kept_text(kept: Kept, tolerance_rad: float, planes: int = 1) -> str:
    """Say how well a craft that stays sits in its slot."""
    slot = f"slot {kept.slot}" if planes == 1 else f"plane {kept.plane}, slot {kept.slot}"
    degrees = math.degrees(kept.error_rad)
    if abs(degrees) < 0.05:
        return f"{kept.craft} stays in {slot}"
    over = ", more than the tolerance" if abs(kept.error_rad) > tolerance_rad else ""
    where = "ahead" if degrees > 0 else "behind"
    return f"{kept.craft} stays in {slot}; {abs(degrees):.1f} deg {where}{over}"


def goal_text(rank: int, scenario: Scenario) -> str:
    """What the answers about another plan than the best one aim at; empty for the best one."""
    if rank == 1:
        return ""
    aim = AIM_WORDS.get(scenario.minimize, scenario.minimize)
    return (
        f" What is planned from it follows the goal of the scenario ({aim}), not the reason for which plan {rank} was "
        "picked: limits.finish_within holds a date."
    )


def slot0_text(slot0_rad: float) -> str:
    """Say where a ring is laid whose phase was chosen."""
    return f"The ring stands with slot 0 at {math.degrees(slot0_rad) % 360.0:.4f} deg at the epoch"


def time_against(plan: Plan, first: Plan) -> str:
    """Say how much sooner or later a plan finishes than the first; times that print alike are the same."""
    late_s = plan.finish_s - first.finish_s
    if span(plan.finish_s) == span(first.finish_s):
        return "same time"
    return f"{span(abs(late_s))} {'later' if late_s > 0 else 'sooner'}"


def cost_against(plan: Plan, first: Plan) -> str:
    """Say how much dearer or cheaper a plan is than the first, as printed: figures that print alike are the same."""
    more = round(plan.delta_v_m_s, 1) - round(first.delta_v_m_s, 1)
    if abs(more) < 0.05:
        return "same delta-v"
    return f"{plain(abs(more))} m/s {'dearer' if more > 0 else 'cheaper'}"


def against_text(plan: Plan, first: Plan, most: int = 2) -> str:
    """Compare a plan with the first in one sentence: time, cost, and what is done differently."""
    reason = why_text(plan, first, most)
    return f"{time_against(plan, first)}, {cost_against(plan, first)}" + (f": {reason}" if reason else "")


def why_text(plan: Plan, first: Plan, most: int = 2, known: Collection[str] = ()) -> str:
    """Say what a plan does differently from the first, the costliest differences first.

    Args:
        plan: the plan that differs.
        first: the plan it is compared with.
        most: how many changes to print; the craft of the rest are counted.
        known: changes that are printed elsewhere.
    """
    changes = {text: size for text, size in changes_of(plan, first).items() if text not in known}
    left = sum(list(changes.values())[most:])
    if not left:
        return "; ".join(changes)
    rest = f"{left} other craft {'changes' if left == 1 else 'change'}"
    return "; ".join([*list(changes)[:most], f"{rest} too" if most else rest])


def changes_of(plan: Plan, first: Plan) -> dict[str, int]:
    """What a plan does differently from the first: each change in words, with the number of craft that make it.

    The costliest change comes first; craft that change alike share a sentence.
    """
    before = {part.craft: part for part in first.craft}
    weights: dict[tuple[str, str], float] = {}
    names: dict[tuple[str, str], list[str]] = {}
    for part in plan.craft:
        other = before.get(part.craft)
        change = _change(part, other)
        if change is not None:
            weight = abs(part.delta_v_m_s - (0.0 if other is None else other.delta_v_m_s))
            weights[change] = max(weight, weights.get(change, 0.0))
            names.setdefault(change, []).append(part.craft)
    found = {}
    for one, several in sorted(names, key=lambda change: -weights[change]):
        who = names[one, several]
        shown = [*who[:2], f"{len(who) - 2} more"] if len(who) > 3 else who
        found[f"{listed(shown)} {one if len(who) == 1 else several}"] = len(who)
    return found


def _change(part: CraftPlan, other: CraftPlan | None) -> tuple[str, str] | None:
    """What a craft does differently, in the singular and in the plural."""
    if other is None:
        return "moves", "move"
    changes: list[tuple[str, str]] = []
    if (part.plane, part.slot) != (other.plane, other.slot):
        planes = (
            (f"plane {part.plane} slot ", f"plane {other.plane} slot ") if part.plane != other.plane else ("slot ", "")
        )
        changes.append(_both("take", f"{planes[0]}{part.slot} instead of {planes[1]}{other.slot}"))
    if part.route != other.route or part.insertion != other.insertion:
        changes.append(_route_change(part))
    elif part.launch_s is not None and other.launch_s is not None:
        later_s = part.launch_s - other.launch_s
        site = f" from {part.pad}" if part.pad != other.pad else ""
        moment = (
            f" {span(abs(later_s))} {'later' if later_s > 0 else 'earlier'}" if abs(later_s) >= _PAD_WORTH_S else ""
        )
        if site or moment:
            changes.append(_both("lift", f"off{site}{moment}"))
    verb, rest, _ = _PHASING[part.side]
    if part.side != other.side:
        changes.append(_both(verb, f"{rest}instead of {_PHASING[other.side][2]}"))
    elif part.revolutions != other.revolutions:
        changes.append(_both(verb, f"{rest}in {count(part.revolutions, 'revolution')} instead of {other.revolutions}"))
    elif part.ring_revolutions != other.ring_revolutions:
        turns = f"while the slot makes {part.ring_revolutions} instead of {other.ring_revolutions}"
        changes.append(_both(verb, rest + turns))
    # passes count along one way: those of another route are no sooner and no later
    if part.passes != other.passes and part.route == other.route:
        passes = count(abs(part.passes - other.passes), "pass", "passes")
        changes.append(_both("start", f"{passes} {'later' if part.passes > other.passes else 'sooner'}"))
    if not changes:
        return None
    return listed([one for one, _ in changes]), listed([several for _, several in changes])


_PHASING = {
    "below": ("gain", "", "gaining"),
    "above": ("fall", "back ", "falling back"),
    "level": ("arrive", "in place ", "arriving in place"),
}


def _both(verb: str, rest: str) -> tuple[str, str]:
    return f"{verb}s {rest}", f"{verb} {rest}"


def _route_change(part: CraftPlan) -> tuple[str, str]:
    by = f" with insertion {part.insertion}" if part.insertion else ""
    # loaded where two plans are compared, not with every word
    from ..optimizer.routes.registry import words_of

    verb, rest = words_of(part.route)
    one = {"go": "goes", "fly": "flies"}.get(verb, f"{verb}s")
    return f"{one} {rest}{by}", f"{verb} {rest}{by}"
