"""Spares called up, as text and as JSON: for each craft that may be lost, and spare against spare."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal

from ..models.readouts import brief, listed, plain, span
from ..models.scenario import Aim
from ..optimizer.outcome import Plan
from ..optimizer.studies.call_up import CallUps, Loss, SpareSeen, Way
from .layout import Cells, figures, heading, paragraph, table, words
from .remarks import CAUTION
from .values import json_text

Ends = Literal["least", "soonest"]

FORMAT = "ringwright-call-up/1"

WORTH_SAYING = 0.05
"""What drag takes, m/s a year, is said from here on."""

LEAST_SOONER_S = 60.0
"""A plan of the front is sooner than the last one by a digit that is printed."""

NODE_DEG = 0.005
"""How far a node drifts, deg a day, is said from here on."""

DAY_S = 86_400.0

AIMS: tuple[tuple[Aim, Ends, str], ...] = (("delta_v", "least", "cheapest"), ("finish", "soonest", "soonest"))
"""The two ends of a front: the aim, the plan of a way, and the word for it."""


def call_up_text(found: CallUps, width: int) -> str:
    """What a console shows, no line longer than ``width``; times from the call on."""
    lines = paragraph(found.scenario.title, width)
    when = f"{span(found.after_s)} after the epoch, when plan 1 is done" if found.after_s else "at the epoch"
    *others, last = [seen.spare.craft.name for seen in found.spares]
    names = f"{', '.join(others)} or {last}, is" if others else f"{last}, is"
    lines += paragraph(
        f"A craft is lost {when}, and a spare, {names} called at once. Times count from the call to the slot.", width
    )
    lines += heading("What each loss takes", width)
    lines += table(_by_loss(found), width)
    bare = sorted({loss.plane for loss in found.losses if not loss.ways})
    if bare:
        which = f"plane{'s' if len(bare) > 1 else ''} {listed([str(plane) for plane in bare])}"
        lines += paragraph(f"No spare waits in {which}.", width, indent="  ")
    front = _front(found)
    if front:
        lines += heading("Delta-v against time", width)
        lines += table(front, width)
    # means over the ways that happened to be reached would mislead
    compared = _compared(found) if len(found.losses) > 1 and found.reached == found.asked else []
    if compared:
        lines += heading("Spare against spare", width)
        lines += table(compared, width)
        for text in [*_chances(found), *_between(found)]:
            lines += paragraph(text, width, indent="  ", hang="    ")
    lines += heading("Where they wait", width)
    for seen in found.spares:
        lines += paragraph(_waits(found, seen), width, indent="  ", hang="    ")
    if found.reached < found.asked:
        left = found.asked - found.reached
        lines += ["", *paragraph(f"The search ended early: {left} of {found.asked} ways were not reached.", width)]
    lines += ["", *paragraph(_remark(found), width), "", *paragraph(CAUTION, width)]
    return "\n".join(lines) + "\n"


def _remark(found: CallUps) -> str:
    planes = " A spare serves its own plane; the distance to craft in other planes is not looked at."
    pull = "for the body's bulge alone" if found.scenario.body.j2 else "in the pull of a point mass"
    return (
        f"Each way is a plan, made and flown {pull}, with the other craft in their slots; "
        f"distances to other spares are not looked at.{planes if found.ring.planes > 1 else ''}"
    )


def _place(found: CallUps, loss: Loss) -> str:
    return f"{loss.plane}:{loss.slot}" if found.ring.planes > 1 else str(loss.slot)


def _by_loss(found: CallUps) -> list[Cells]:
    """One line a craft that may be lost: the spare of least delta-v, and the one that is there soonest."""
    cheap = [_one(loss.best("delta_v"), "least") for loss in found.losses]
    soon = [_one(loss.best("finish"), "soonest") for loss in found.losses]

    def who(loss: Loss, best: Way | None) -> str:
        if best is not None:
            return best.spare
        if not loss.ways:
            return "-"
        return "no plan keeps the limits" if all(way.reached for way in loss.ways) else "not reached"

    return [
        words("lost", [loss.craft for loss in found.losses]),
        figures(
            "plane:slot" if found.ring.planes > 1 else "slot", cells=[_place(found, loss) for loss in found.losses]
        ),
        words("cheapest", [who(loss, loss.best("delta_v")) for loss in found.losses], wraps=True),
        figures("m/s", cells=[_m_s(plan) for plan in cheap]),
        figures("takes", cells=[_takes(plan) for plan in cheap]),
        words("soonest", [who(loss, loss.best("finish")) for loss in found.losses], wraps=True),
        figures("m/s", cells=[_m_s(plan) for plan in soon]),
        figures("takes", cells=[_takes(plan) for plan in soon]),
    ]


def _one(way: Way | None, which: Ends) -> Plan | None:
    if way is None:
        return None
    return way.least if which == "least" else way.soonest


def _m_s(plan: Plan | None) -> str:
    return "" if plan is None else plain(plan.delta_v_m_s)


def _takes(plan: Plan | None) -> str:
    return "" if plan is None else span(plan.finish_s)


def _front(found: CallUps) -> list[Cells]:
    """Of a single loss every plan of the fronts of its spares that no other one beats in both."""
    points = front_of(found.losses[0]) if len(found.losses) == 1 else []
    if len(points) < 2:
        return []
    return [
        figures("m/s", cells=[plain(plan.delta_v_m_s) for _, plan in points]),
        figures("takes", cells=[span(plan.finish_s) for _, plan in points]),
        words("spare", [spare for spare, _ in points]),
    ]


def front_of(loss: Loss) -> list[tuple[str, Plan]]:
    """Plans by spare, from the cheapest on, each sooner than those before it, as printed."""
    every = sorted(
        ((way.spare, plan) for way in loss.ways for plan in way.front),
        key=lambda point: (point[1].delta_v_m_s, point[1].finish_s),
    )
    kept: list[tuple[str, Plan]] = []
    for spare, plan in every:
        if not kept or plan.finish_s < kept[-1][1].finish_s - LEAST_SOONER_S:
            kept.append((spare, plan))
    return kept


def _compared(found: CallUps) -> list[Cells]:
    """Two lines a spare: what the losses that it can make good cost and take, in the mean and at worst."""
    rows = [
        (seen, label, which, plans)
        for seen in found.spares
        for _, which, label in AIMS
        if (plans := plans_of(found, seen, which))
    ]
    if not rows:
        return []

    return [
        words("spare", [seen.spare.craft.name if which == "least" else "" for seen, _, which, _ in rows]),
        words("way", [label for _, label, _, _ in rows]),
        figures("mean m/s", cells=[plain(_mean([p.delta_v_m_s for _, p in plans])) for *_, plans in rows]),
        figures("most m/s", cells=[plain(max(p.delta_v_m_s for _, p in plans)) for *_, plans in rows]),
        figures("mean time", cells=[span(_mean([p.finish_s for _, p in plans])) for *_, plans in rows]),
        figures("longest", cells=[span(_latest(plans)[1].finish_s) for *_, plans in rows]),
        words("for", [_latest(plans)[0].craft for *_, plans in rows]),
    ]


def plans_of(found: CallUps, seen: SpareSeen, which: Ends) -> list[tuple[Loss, Plan]]:
    """The plans of one spare, each with its loss: those of least delta-v, or the soonest."""
    name = seen.spare.craft.name
    return [
        (loss, plan)
        for loss in found.losses
        for way in loss.ways
        if way.spare == name and (plan := _one(way, which)) is not None
    ]


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _latest(plans: Sequence[tuple[Loss, Plan]]) -> tuple[Loss, Plan]:
    return max(plans, key=lambda pair: pair[1].finish_s)


def _chances(found: CallUps) -> list[str]:
    """Mean and worst of the best spare, where any craft is as likely to be lost as another."""
    said = []
    for aim, which, label in AIMS:
        best = [(loss, plan) for loss in found.losses if (plan := _one(loss.best(aim), which)) is not None]
        if len(best) < 2:
            continue
        loss, plan = _latest(best)
        time, cost = (_mean([getattr(p, one) for _, p in best]) for one in ("finish_s", "delta_v_m_s"))
        whose = (
            "Each craft"
            if len(best) == len(found.losses)
            else f"Each of the {len(best)} that a spare can be called for"
        )
        said.append(
            f"{whose} as likely to be lost as another, the {label} way takes {span(time)} in the mean, for "
            f"{plain(cost)} m/s, and {span(plan.finish_s)} at worst (slot {_place(found, loss)}, {loss.craft})."
        )
    return said


def _between(found: CallUps) -> list[str]:
    """Spares between slots against those on another circle, over the losses that both can make good."""
    said = []
    for aim, which, label in AIMS:
        sides = [
            {loss.craft: plan for loss in found.losses if (plan := _one(_only(found, loss, off).best(aim), which))}
            for off in (False, True)
        ]
        both = [name for name in sides[0] if name in sides[1]]
        if not both:
            continue
        (near, near_s), (far, far_s) = (
            (_mean([side[name].delta_v_m_s for name in both]), _mean([side[name].finish_s for name in both]))
            for side in sides
        )
        said.append(
            f"The {label} way in the mean: from the ring itself {plain(near)} m/s and {span(near_s)}, from another "
            f"circle {plain(far)} m/s and {span(far_s)}."
        )
    return said


def _only(found: CallUps, loss: Loss, off: bool) -> Loss:
    """A loss with the ways of those spares alone that wait on another circle, or of those in the ring."""
    names = {seen.spare.craft.name for seen in found.spares if (seen.waiting is not None) is off}
    return replace(loss, ways=tuple(way for way in loss.ways if way.spare in names))


def _waits(found: CallUps, seen: SpareSeen) -> str:
    """Where a spare waits, how long for a pass, and what that takes."""
    name, waits, ring = seen.spare.craft.name, seen.waiting, found.ring
    held = ""
    if seen.hold_m_s_year is not None and seen.hold_m_s_year >= WORTH_SAYING:
        held = f" Making up for drag there takes {plain(seen.hold_m_s_year)} m/s a year, by a steady atmosphere."
    inside = f" of plane {seen.spare.plane}" if ring.planes > 1 else ""
    if waits is None or seen.spare.radius_m is None:
        after = seen.spare.after_slot
        where = "" if after is None else f", midway between slots {after} and {(after + 1) % ring.slots}"
        return f"{name} waits in the ring{where}{inside}.{held}"
    apart = seen.spare.radius_m - ring.radius_m
    inside = f", in plane {seen.spare.plane}," if inside else ""
    side, moves = ("below", "gains") if apart < 0.0 else ("above", "falls back")
    rate = math.degrees(abs(waits.gain_rad_s)) * DAY_S
    drift = math.degrees(waits.node_gain_rad_s) * DAY_S
    drifts = ""
    if abs(drift) >= NODE_DEG:
        off = f", and is {math.degrees(seen.node_off_rad):+.2f} deg off" if seen.node_off_rad else ""
        drifts = f" Its node drifts {drift:+.2f} deg a day against the ring's{off}: the ways above are for a call now."
    return (
        f"{name} waits {brief(abs(apart) / 1e3)} km {side} the ring{inside} and {moves} {plain(rate)} deg a day: it "
        f"passes each slot once in {span(waits.synodic_s)} (synodic period), the longest wait for a free pass; in the "
        f"mean of all moments it is half of that. The transfer by two burns takes {span(waits.transfer_s)} and "
        f"{plain(waits.transfer_m_s)} m/s, in the pull of a point mass, planes agreeing.{drifts}{held}"
    )


def call_up_json(found: CallUps) -> str:
    """The same as strict JSON, a newline at the end."""
    values = {
        "format": FORMAT,
        "title": found.scenario.title,
        "after_s": round(found.after_s, 3),
        "asked": found.asked,
        "reached": found.reached,
        "losses": [
            {
                "craft": loss.craft,
                "plane": loss.plane,
                "slot": loss.slot,
                "cheapest": _name(loss.best("delta_v")),
                "soonest": _name(loss.best("finish")),
                "ways": [_way(way) for way in loss.ways],
            }
            for loss in found.losses
        ],
        "spares": [_seen(seen) for seen in found.spares],
    }
    return json_text(values)


def _name(way: Way | None) -> str | None:
    return None if way is None else way.spare


def _way(way: Way) -> dict[str, Any]:
    return {
        "spare": way.spare,
        "reached": way.reached,
        "cheapest": _plan(way.least),
        "soonest": _plan(way.soonest),
        "front": [_plan(plan) for plan in way.front],
    }


def _plan(plan: Plan | None) -> dict[str, Any] | None:
    if plan is None:
        return None
    (part,) = plan.craft
    return {
        "delta_v_m_s": round(plan.delta_v_m_s, 6),
        "takes_s": round(plan.finish_s, 3),
        "route": part.route,
        "slot_error_deg": round(math.degrees(part.flown.slot_error_rad), 9),
    }


def _seen(seen: SpareSeen) -> dict[str, Any]:
    spare, waits = seen.spare, seen.waiting
    found: dict[str, Any] = {
        "name": spare.craft.name,
        "plane": spare.plane,
        "waits": "ring" if waits is None else "circle",
        "node_off_deg": round(math.degrees(seen.node_off_rad), 9),
        "drag_m_s_year": None if seen.hold_m_s_year is None else round(seen.hold_m_s_year, 6),
    }
    if waits is not None:
        found |= {
            "synodic_s": round(waits.synodic_s, 3),
            "transfer_s": round(waits.transfer_s, 3),
            "transfer_m_s": round(waits.transfer_m_s, 6),
            "node_drift_deg_d": round(math.degrees(waits.node_gain_rad_s) * DAY_S, 9),
        }
    return found
