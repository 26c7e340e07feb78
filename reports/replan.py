"""The best plan from here, against the plan that was being flown: as text and as JSON."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from ..models.readouts import clock, instant, plain, span
from ..optimizer.replan.answer import NOTHING, CraftChange, Decision, Replan
from .burn_table import burn_table
from .layout import Cells, closed, ended_early, figures, heading, note, paragraph, table, words
from .limits import limit_key, outcome_as_written
from .no_plan import infeasible_text
from .remarks import to_know
from .result import result
from .under_forces import rest_lines, standing_of
from .values import exact, json_text
from .wording import count, goal_text, listed, small, way_text

_CAUTION = (
    "A planning aid, not flight software: what is not stated as seen is taken as planned, impulses and the gravity of "
    "the scenario are approximations, and each craft is taken to lie in the plane of its ring."
)


def replan_text(done: Replan, width: int) -> str:
    """The new plan for a console, no line longer than ``width``; times from the scenario's epoch."""
    scenario = done.before.scenario
    now = instant(scenario.epoch, done.observed.now_s)
    lines = [scenario.title, f"Planned from {now} on.", ""]
    if done.outcome is not None and not done.outcome.plans:
        none = "WAS FOUND before the search was ended" if done.outcome.undecided else "keeps the limits"
        lines += paragraph(f"NO PLAN FROM HERE {none}; times below count from now.", width)
        lines += ended_early(done.unfinished, width)
        return "\n".join(lines) + "\n" + infeasible_text(done.outcome, width)
    lines += paragraph(_answer(done), width)
    lines += _states(done, width)
    if done.changes:
        lines += [*heading("What to fly", width), *table(_table(done), width)]
        lines += note(
            "Times from the epoch; spent: until now; rest: from now on; was: the rest of the old plan.", width
        )
    broken = () if done.outcome is None else outcome_as_written(done.outcome).plans[0].broken
    for limit in broken:
        lines += note(f"!!! {limit.craft} BREAKS {limit_key(limit.limit)}. DO NOT FLY IT AS IT IS. !!!", width)
    lines += [f"  {line}" for text in _over_wait(done) for line in paragraph(text, width - 2)]
    lines += _burns_to_come(done, width)
    if done.decisions:
        lines += [*heading("The latest moment for each decision", width)]
        for one in done.decisions:
            lines += paragraph(_decision(done, one), width, indent="  ", hang="    ")
    lines += rest_lines(done.before, done.under, width)
    lines += to_know(done.before.scenario.warnings, width)
    return closed([*lines, *ended_early(done.unfinished, width)], _CAUTION, width)


def _answer(done: Replan) -> str:
    if not done.changes:
        return f"Nothing is left to do: {plain(done.total_m_s)} m/s were spent."
    if done.remaining.as_planned:
        text = "All observations match the plan: go on with it. "
    elif all(change.same for change in done.changes):
        text = "The plan stands: every craft goes on as it was planned. "
    else:
        changed = [change.craft for change in done.changes if not change.same]
        text = f"Change the plan for {listed(changed)}. "
    # as printed: the reader finds the same
    extra, later = round(done.total_m_s, 1) - round(done.old_total_m_s, 1), done.later_s
    text += (
        f"In all {plain(done.total_m_s)} m/s, including what is spent, and the last craft in its slot "
        f"{span(done.finish_s)} from the epoch: {_more(extra, 0.05, ' m/s', 'dearer', 'cheaper')} and "
        f"{_when(later)} than the old plan."
    )
    return text


def _more(value: float, least: float, unit: str, more: str, less: str) -> str:
    return f"no {more}" if abs(value) < least else f"{plain(abs(value))}{unit} {more if value > 0.0 else less}"


def _when(later_s: float) -> str:
    return "no later" if abs(later_s) < 1.0 else f"{span(abs(later_s))} {'later' if later_s > 0.0 else 'sooner'}"


def _states(done: Replan, width: int) -> list[str]:
    lines: list[str] = []
    left = done.remaining
    if done.past is NOTHING and done.old_plan.rank != 1:
        goal = goal_text(done.old_plan.rank, done.before.scenario)
        lines += paragraph(f"Plan {done.old_plan.rank} was being flown.{goal}", width)
    in_place, gone = [*done.past.done, *left.done], [*done.past.lost, *left.lost]
    if in_place:
        lines += paragraph(f"In place: {listed(in_place)}.", width)
    if gone:
        lines += paragraph(f"Lost: {listed(gone)}; the slots go to the craft that are left.", width)
    if left.assumed:
        lines += paragraph(f"No observation of {listed(list(left.assumed))}: taken to be where the plan has it.", width)
    least = [one.craft for one in left.spent if one.at_least]
    if least:
        lines += paragraph(
            f"What {listed(least)} spent is at least what the orbits before and after the last burn need, as no "
            "propellant was read: it may be more.",
            width,
        )
    tilted = [one for one in done.observed.craft if one.tilt_rad > done.before.scenario.ring.tilt_tolerance_rad + 1e-7]
    for one in tilted:
        if one.name in done.mended:
            continue
        cost = 2.0 * done.before.ring.speed_m_s * math.sin(0.5 * one.tilt_rad)
        lines += paragraph(
            f"!!! {one.name} IS TILTED by {small(math.degrees(one.tilt_rad))} deg against its plane: some "
            f"{plain(cost)} m/s to turn it are NOT in this plan. !!!",
            width,
        )
    if left.stepped:
        lines += paragraph(
            "An orbit does not touch the ring: free-form flights were sought that end at each half turn of the "
            "ring; goal.front_step in the scenario makes that finer.",
            width,
        )
    return lines


def _table(done: Replan) -> list[Cells | None]:
    changes = done.changes
    slots = [(change.old.slot, change.new.slot) for change in changes]
    return [
        words("craft", [change.craft for change in changes]),
        figures("slot", cells=[str(new) if new == old else f"{old}, now {new}" for old, new in slots]),
        words("at the ring", [_way(done, change) for change in changes], wraps=True),
        figures("period at cut-off", cells=[_cut_off(done, change) for change in changes]),
        figures("in slot after", cells=[span(change.in_slot_s) for change in changes]),
        figures("spent", cells=[plain(change.spent_m_s) for change in changes]),
        figures("rest", cells=[plain(change.rest_m_s) for change in changes]),
        figures("was", cells=[plain(change.old_rest_m_s) for change in changes]),
    ]


def _cut_off(done: Replan, change: CraftChange) -> str:
    part, mended = change.new, change.craft in done.mended
    # a mended plan may have its phasing burn behind it
    period = None if mended and part.phasing_burn is None else part.cut_off_period_s
    kept = change.new_from_s == 0.0 and not mended
    burned = kept and part.phasing_period_s is not None and len(_burns_left(done, change)) < 2
    return "-" if period is None or burned else clock(period)


def _way(done: Replan, change: CraftChange) -> str:
    """The way in words; of a craft whose plan was mended, what became of it."""
    if change.craft not in done.mended:
        return way_text(change.new)
    before = sum(1 for burn in change.old.burns if burn.time_s > done.observed.now_s)
    more, turns = len(change.new.burns) - before, change.new.revolutions - change.old.revolutions
    if (change.new.route, change.new.slot) != (change.old.route, change.old.slot):
        return f"{way_text(change.new)}, corrected"
    parts = ["as planned, corrected"]
    parts += [f"{count(more, 'burn')} more"] if more > 0 else []
    parts += [f"{count(turns, 'turn')} later"] if turns > 0 else []
    return ", ".join(parts)


def _burns_to_come(done: Replan, width: int) -> list[str]:
    """The burns of every craft whose plan has changed, one table a craft, times from the scenario's epoch."""
    lines: list[str] = []
    for change in done.changes:
        burns = [replace(b, time_s=b.time_s + change.new_from_s) for b in done.burns_to_come(change)]
        if not change.same and burns:
            lines += [*heading(f"Burns to come: {change.craft}", width), *burn_table(done.before, burns, width)]
    return lines


def _burns_left(done: Replan, change: CraftChange) -> list[float]:
    return [burn.time_s + change.new_from_s for burn in done.burns_to_come(change)]


def _over_wait(done: Replan) -> list[str]:
    """Craft that reached the ring before now and exceed the wait allowed, which planning counts from now only."""
    limit = done.before.scenario.limits.wait_within_s
    found = []
    for change in done.changes:
        waited = change.in_slot_s - change.old.ring_arrival_s
        if change.old.ring_arrival_s < done.observed.now_s and waited > limit + 1.0:
            found.append(
                f"!!! {change.craft} BREAKS limits.wait_within: {span(waited)} from reaching the ring, where "
                f"{span(limit)} are allowed. !!!"
            )
    return found


def _decision(done: Replan, one: Decision) -> str:
    scenario = done.before.scenario
    what = "liftoff" if one.launch else "burn"
    text = f"{one.craft}, {what}: {span(one.at_s)} from the epoch"
    text += f" ({instant(scenario.epoch, one.at_s)})." if scenario.epoch is not None else "."
    if one.lost:
        return f"{text} MISSED, NO PLAN IS LEFT within the limits."
    if one.extra_m_s is None or one.later_s is None:
        return text
    extra = _more(one.extra_m_s, 0.05, " m/s", "dearer", "cheaper")
    return f"{text} Missed by a minute, the rest is {extra} and ends {_when(one.later_s)}."


def replan_json(done: Replan) -> str:
    """The new plan as JSON; ``plan`` is that of what is left, its times from ``now_s``, null where none is new."""
    values: dict[str, Any] = {
        "format": "ringwright-replan/1",
        "title": done.before.scenario.title,
        "now_s": done.observed.now_s,
        "as_planned": done.remaining.as_planned,
        "total_delta_v_m_s": done.total_m_s,
        "finish_s": done.finish_s,
        "old_delta_v_m_s": done.old_total_m_s,
        "old_finish_s": done.old_finish_s,
        "done": [*done.past.done, *done.remaining.done],
        "lost": [*done.past.lost, *done.remaining.lost],
        "taken_as_planned": list(done.remaining.assumed),
        "spent": [exact(one, "craft", "delta_v_m_s", "by_plan", "at_least") for one in done.remaining.spent],
        "craft": [
            {
                **exact(change.new, "craft", "plane", "slot"),
                "old_slot": change.old.slot,
                "route": change.new.route,
                "in_slot_s": change.in_slot_s,
                "old_in_slot_s": change.old.in_slot_s,
                **exact(change, "spent_m_s", "rest_m_s", "old_rest_m_s", "same"),
                "mended": change.craft in done.mended,
                **standing_of(done.under, change.craft),
            }
            for change in done.changes
        ],
        "decisions": [
            {
                **exact(one, "craft", "at_s"),
                "what": "liftoff" if one.launch else "burn",
                "missed_extra_m_s": one.extra_m_s,
                "missed_later_s": one.later_s,
                "missed_no_plan": one.lost,
            }
            for one in done.decisions
        ],
        "plan": None if done.outcome is None else result(done.outcome),
        "forces": None if done.under is None or not done.under.craft else list(done.under.chosen.flown),
        "unfinished": done.unfinished or None,
    }
    return json_text(values, indent=1)
