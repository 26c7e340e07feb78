"""The price of time in words: each plan of the front against the first, then the plans of another kind."""

from __future__ import annotations

from itertools import pairwise

from ..models.readouts import plain, span
from ..optimizer.outcome import FrontPoint, Outcome, Plan
from .layout import figures, heading, note, table, words
from .limits import limit_key
from .wording import changes_of, cost_against, count, listed, sentence, time_against, why_text

ROWS_SHOWN = 12
"""Plans of the front that are listed."""

OFF_THE_FRONT = "off the front"
"""The kind of a plan that the catalogue has on its front and the flight takes off it."""

OFF_SHOWN = 2
"""Plans of that kind that are listed."""


def marked_points(points: tuple[FrontPoint, ...], most: int, keep: int) -> tuple[FrontPoint, ...]:
    """Thin a long front to the points that show most of it.

    The point whose loss blunts the front least (the smallest corner between its neighbors) goes first; the ends and
    the plan ``keep`` always stay.

    Args:
        points: sorted by finish.
        most: how many may stay, at least 3.
        keep: rank of a plan that must stay.
    """
    left = list(points)
    while len(left) > most:
        corners = [
            ((left[i + 1].finish_s - left[i].finish_s) * (left[i - 1].delta_v_m_s - left[i].delta_v_m_s), i)
            for i in range(1, len(left) - 1)
            if left[i].plan != keep
        ]
        del left[min(corners)[1]]
    return tuple(left)


def price_of_time(outcome: Outcome, first: Plan, width: int) -> list[str]:
    """Lines that set the plans of the front against ``first``; long fronts are thinned, and say so."""
    front = outcome.front
    if front is None:
        return []
    lines = heading("The price of time", width)
    plans = {plan.rank: plan for plan in outcome.plans}
    if len(front.points) == 1:
        said = front.note or _only_point(outcome)
        return [*lines, *note(sentence(said), width)]
    shown = list(marked_points(front.points, ROWS_SHOWN, first.rank))
    # begin at the end of the front where plan 1 stands
    if first.finish_s > 0.5 * (shown[0].finish_s + shown[-1].finish_s):
        shown.reverse()
    printed = [plans[point.plan] for point in shown]
    if first not in printed:
        printed.insert(0, first)  # the goal may choose a plan that is neither cheapest nor soonest of its price
    lines += _comparison(printed, first, width)
    hidden = len(front.points) - len(shown)
    if hidden:
        lines += note(
            f"and {hidden} more of the {len(front.points)} plans of the front in the file (--json PATH, or --out DIR).",
            width,
        )
    lines += _between_points(outcome, width)
    lines += _by_period_alone(outcome, width)
    if front.note:
        lines += note(sentence(front.note), width)
    return lines


def _only_point(outcome: Outcome) -> str:
    """What a front of one point means where its note does not say so: of the others none stood after the flight."""
    [point] = outcome.front.points if outcome.front is not None else ()
    sooner = any(plan.finish_s < point.finish_s - 1.0 and not plan.broken for plan in outcome.plans)
    return (
        "only one plan of the front passed its flight; sooner plans are listed below"
        if sooner
        else "one plan is both the cheapest and the soonest"
    )


def _between_points(outcome: Outcome, width: int) -> list[str]:
    front = outcome.front
    assert front is not None
    pairs = [f"{one.plan} and {other.plan}" for one, other in pairwise(front.points) if one.kind != "step"]
    if not pairs:
        return []
    if len(pairs) == len(front.points) - 1:
        named = "each plan of the front and the next"
    else:
        more = f"; and {count(len(pairs) - 3, 'more pair')}" if len(pairs) > 3 else ""
        named = f"plans {'; '.join(pairs[:3])}{more}"
    return note(f"Between {named} the price falls gradually: any time in between is possible.", width)


def _by_period_alone(outcome: Outcome, width: int) -> list[str]:
    """Which plans a person can fly by reading periods, where some need more than that."""
    plans = sorted(outcome.plans, key=lambda plan: plan.rank)
    simple = [str(plan.rank) for plan in plans if plan.by_period_alone]
    if len(simple) == len(plans):
        return []
    named = listed(simple[:12]) + (f" and {len(simple) - 12} more" if len(simple) > 12 else "")
    said = (
        f"{'Plan' if len(simple) == 1 else 'Plans'} {named} can be flown by period alone"
        if simple
        else "No plan can be flown by period alone"
    )
    rest = "the others need" if simple else "all need"
    return note(f"{said}: {rest} free-form burns, by attitude and clock.", width)


def other_ways(outcome: Outcome, first: Plan, width: int) -> list[str]:
    """Lines on the plans of another kind: what each costs more, and what it brings."""
    others = [plan for plan in outcome.plans if plan.kind and plan.rank != first.rank]
    if not others:
        return []
    others.sort(key=lambda plan: plan.rank)
    off = [plan for plan in others if plan.kind == OFF_THE_FRONT]
    shown = [plan for plan in others if plan not in off[OFF_SHOWN:]]
    lines = [*heading("Other ways", width), *_comparison(shown, first, width, kinds=True)]
    if len(shown) < len(others):
        lines += note(
            f"and {len(others) - len(shown)} more off the front in the file (--json PATH, or --out DIR).", width
        )
    if off:
        meaning = "Off the front: once flown, no longer among the best trades of delta-v against time."
        lines += note(meaning, width)
    return lines


def _comparison(plans: list[Plan], first: Plan, width: int, *, kinds: bool = False) -> list[str]:
    """Set plans against the first; where the page is narrow, time, cost and reason make one sentence."""
    common = [] if kinds else _common_changes(plans, first)
    reasons = [_reason(plan, first, common) for plan in plans]
    times = [time_against(plan, first) if plan.rank != first.rank else "" for plan in plans]
    costs = [cost_against(plan, first) if plan.rank != first.rank else "" for plan in plans]
    against = f"against plan {first.rank}"
    if width >= 110:
        last = [words(against, times), words("", costs), words("because", reasons, wraps=True)]
    else:
        several = zip(times, costs, reasons, strict=True)
        said = [f"{time}, {cost}" + (f": {why}" if why else "") if time else "" for time, cost, why in several]
        last = [words(against, said, wraps=True)]
    filled = [
        figures("plan", cells=[str(plan.rank) for plan in plans]),
        figures("m/s", cells=[plain(plan.delta_v_m_s) for plan in plans]),
        figures("done after", cells=[span(plan.finish_s) for plan in plans]),
        words("of another kind", [plan.kind or "" for plan in plans], wraps=True) if kinds else None,
        *last,
    ]
    lines = table(filled, width)
    if common:
        lines += note(f"In each of these but plan {first.rank}: {'; '.join(common)}.", width)
    return lines


def _reason(plan: Plan, first: Plan, common: list[str]) -> str:
    """Why a plan costs what it does; what it breaks first."""
    why = why_text(plan, first, known=common)
    if not plan.broken:
        return why
    marks = listed(sorted({limit_key(broken.limit) for broken in plan.broken}))
    return f"BREAKS {marks}; {why}" if why else f"BREAKS {marks}"


def _common_changes(plans: list[Plan], first: Plan) -> list[str]:
    """The changes that all plans but the first share, of several plans; they are printed once."""
    found = [list(changes_of(plan, first)) for plan in plans if plan.rank != first.rank]
    if len(found) < 2:
        return []
    return [text for text in found[0] if all(text in others for others in found[1:])]
