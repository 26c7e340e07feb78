"""What correcting plans by their flight over an oblate body changes in what was chosen, said and kept consistent."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from ...models.launch import Ascent
from ...models.readouts import listed, plain
from ...models.units import DAY_S
from ..limits.between_craft import allowed_s
from ..outcome import Plan
from ..problem.problem import Problem
from ..routes.nodal_drift_start import node_rate_more
from .objectives import Chosen

BEHIND_DEG = 0.05
"""Nodes that are off their place by less than this are not mentioned."""

ORDER_LEAST = 3
"""The order in which planes are reached is said where they are at least so many."""

SHORT_SHARE = 2e-4
"""Share of the ring's radius by which an arrival may miss it without a note."""


def _tight_turnarounds(problem: Problem, plans: Sequence[Plan]) -> list[str]:
    """Where moved liftoffs decide what a pad allows: by what it was kept, and what was not examined."""
    said = []
    for pad in problem.scenario.pads:
        if pad.turnaround_s <= 0.0:
            continue
        parts = [[p for p in plan.craft if p.pad == pad.name and p.launch_s is not None] for plan in plans]
        moved = max((abs(p.heading.moved_s) for here in parts for p in here if p.heading is not None), default=0.0)
        gaps = [
            late - early - pad.turnaround_s
            for here in parts
            for early, late in pairwise(sorted({p.launch_s for p in here if p.launch_s is not None}))
        ]
        spare = min(gaps, default=math.inf)
        if moved > 0.0 and 0.0 <= spare < 2.0 * moved:
            said.append(
                f"turnaround at {pad.name or 'the pad'} is kept by the liftoffs as flown, with {spare:.1f} s to spare; "
                "an option that another of the same pass beats in delta-v and finish was left out beforehand"
            )
    return said


def _nodes_left_behind(problem: Problem, plan: Plan) -> list[str]:
    """By how much the plane of the first craft in its slot is off its place when the last one arrives.

    Nodes are counted by the rate of second order (`oblateness.circle_rates`), which leaves next to nothing of a year
    but over strongly flattened bodies.
    """
    ring, body = problem.ring, problem.scenario.body
    waited = any(part.route == "drift" for part in plan.craft)
    if not waited or ring.planes < 2:
        return []
    since = 0.0 if problem.kept else min(part.in_slot_s for part in plan.craft)
    lasts = max(part.in_slot_s for part in plan.craft) - since
    more = node_rate_more(body, ring)
    off_deg = math.degrees(abs(more)) * lasts
    if off_deg < BEHIND_DEG:
        return []
    sense = "more" if more * ring.node_rate_rad_s > 0.0 else "less"
    return [
        f"nodes are counted by the rate of second order in J2; as flown they drift "
        f"{math.degrees(abs(more)) * DAY_S:.4f} deg a day {sense}, so that when the last craft arrives the node "
        f"of the first one in place is {off_deg:.2f} deg off its place against that of the last"
    ]


def _order_of_drifts(problem: Problem, plan: Plan) -> list[str]:
    """In which order craft that wait for their nodes reach their planes, and how far apart."""
    drifts = sorted((part for part in plan.craft if part.route == "drift"), key=lambda part: part.in_slot_s)
    if len({part.plane for part in drifts}) < ORDER_LEAST:
        return []
    order = [f"{part.plane} ({part.craft})" for part in drifts]
    apart = [(late.in_slot_s - early.in_slot_s) / DAY_S for early, late in pairwise(drifts)]
    even = "" if allowed_s(problem.scenario) > 0.0 else "; limits.between_craft spaces them more evenly where asked to"
    return [
        f"by nodal drift planes are reached in the order {listed(order)}, {plain(min(apart))} to {plain(max(apart))} d "
        f"one after another{even}"
    ]


def _on_pass(way: Ascent) -> str:
    """On which pass of the ring plane a site launches; empty where it never leaves the plane."""
    return "" if way.place is None else f", on a {'northbound' if way.ascending else 'southbound'} pass,"


def notes_on_flight(problem: Problem, best: Chosen, plans: Sequence[Plan], left: int) -> tuple[str, ...]:
    """What a reader must know about plans that were corrected by their flight, in words; nothing in two-body gravity.

    Args:
        best: the plan proved over the catalogue.
        plans: ranked, corrected.
        left: how many plans left the front.
    """
    if not problem.oblate or not plans:
        return ()
    said = []
    first = plans[0]
    planned = best.delta_v_m_s
    if abs(first.delta_v_m_s - planned) >= 0.05:
        said.append(
            "the catalogue plans by ratios of periods: its best plan is "
            f"{plain(planned)} m/s there and {plain(first.delta_v_m_s)} m/s as flown over the oblate body"
        )
    if left:
        said.append(
            f"{left} {'plan' if left == 1 else 'plans'} of the catalogue's front {'is' if left == 1 else 'are'} off "
            "it once flown: another plan is then a better trade of delta-v against time"
        )
    moved = [abs(part.heading.moved_s) for plan in plans for part in plan.craft if part.heading is not None]
    if max(moved, default=0.0) >= 1.0:
        said.append(
            f"liftoffs differ by up to {max(moved):.0f} s from the pass through the ring plane: over the oblate body "
            "orbits on the way drift at another rate, and so the planes agree when the craft is in its slot"
        )
    said += _order_of_drifts(problem, first)
    said += _nodes_left_behind(problem, first)
    said += _tight_turnarounds(problem, plans)
    ring = problem.ring
    for way in problem.ways:
        short = ring.radius_m - (way.arrival_radius_m or ring.radius_m)
        if abs(short) > SHORT_SHARE * ring.radius_m:
            said.append(
                f"the insertion {way.insertion.name or 'given'}{_on_pass(way)} reaches its apsis "
                f"{abs(short) / 1e3:.0f} km {'below' if short > 0.0 else 'above'} the ring over the oblate body: its "
                "craft keep pace with their "
                f"slots on average, but swing by {math.degrees(2.0 * abs(short) / ring.radius_m):.2f} deg about them "
                "within each turn"
            )
    return tuple(said)
