"""The price of time: total delta-v against finish, each listed point proved over the catalogue.

A later finish only allows more options, so the least delta-v never rises with the finish allowed. The front is walked
from its cheap end: the best plan that finishes before the last point is the next one. Where liftoffs slide continuously
the front slopes between such points, and the walk takes strides that keep the fall in delta-v below the resolution.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from .selection import FINISH_TOLERANCE, Chosen, Selection

Kind = Literal["step", "slope", "curve"]
Progress = Callable[[str], None]

POINTS_ASKED = 40
"""A sloping front is listed this finely: its resolution is its height divided by this, but at least RESOLUTION_M_S."""

RESOLUTION_M_S = 0.1

POINTS_MAX = 400
"""Most points that are walked; a front that has more says from where on it is not listed."""

STEP_S = 1e-2
"""How much sooner the next plan must finish than the last."""


@dataclass(frozen=True, kw_only=True)
class Walked:
    """The points of a front from fast to slow, how it runs from each to the next, and how finely it is known."""

    plans: tuple[Chosen, ...]
    kinds: tuple[Kind, ...]
    resolution_m_s: float
    complete: bool


def walk(selection: Selection, cheapest: Chosen, progress: Progress = lambda _: None) -> Walked:
    """The front from its cheapest plan (the earliest of them) to the fastest.

    Args:
        selection: what to choose from.
        cheapest: least total delta-v, and of those the earliest finish.
        progress: told in words how far the walk has come.
    """
    continuous = selection.made.problem.launches > 0
    if not len(cheapest.options):
        return Walked(plans=(cheapest,), kinds=("step",), resolution_m_s=0.0, complete=True)
    fastest = selection.best(("finish", "delta_v"), ties=False)
    if fastest is None:
        raise ValueError("a selection that has a plan has a fastest one")
    resolution = max((fastest.delta_v_m_s - cheapest.delta_v_m_s) / POINTS_ASKED, RESOLUTION_M_S)
    if cheapest.finish_s <= fastest.finish_s + FINISH_TOLERANCE and not _sooner(selection, cheapest, STEP_S):
        return Walked(plans=(cheapest,), kinds=("step",), resolution_m_s=0.0, complete=True)
    plans, kinds = [cheapest], []
    stride = STEP_S
    sloped = False
    while len(plans) < POINTS_MAX:
        last = plans[-1]
        progress(f"front: {len(plans)} points, back to {last.finish_s / 3600.0:.1f} h")
        step = _sooner(selection, last, STEP_S)
        if step is None:
            break
        kind: Kind = "step"
        slides = continuous and last.finish_s - step.finish_s < 10.0 * STEP_S + 60.0
        if slides and step.delta_v_m_s - last.delta_v_m_s < resolution and _slides(last, step):
            step, stride, kind = _stride(selection, last, step, max(stride, 1.0), resolution)
            sloped = sloped or kind == "slope"
        plans.append(step)
        kinds.append(kind)
    complete = len(plans) < POINTS_MAX
    plans.reverse()
    kinds.reverse()
    return Walked(
        plans=tuple(plans),
        kinds=(*kinds, "step"),
        resolution_m_s=resolution if sloped else 0.0,
        complete=complete,
    )


def _sooner(selection: Selection, than: Chosen, by_s: float) -> Chosen | None:
    return selection.best(("delta_v", "finish"), finish_s=than.finish_s - by_s, ties=False)


def _slides(last: Chosen, step: Chosen) -> bool:
    """Whether two plans are the same choice with liftoffs moved a little."""
    a, b = last.options, step.options

    def structure(o: object) -> list[tuple[int, int, int, int]]:
        return sorted(
            zip(
                o.slot.tolist(),  # type: ignore[attr-defined]
                o.way.tolist(),  # type: ignore[attr-defined]
                o.revolutions.tolist(),  # type: ignore[attr-defined]
                o.ring_revolutions.tolist(),  # type: ignore[attr-defined]
                strict=True,
            )
        )

    return structure(a) == structure(b) or abs(last.delta_v_m_s - step.delta_v_m_s) < 1e-3


def _stride(
    selection: Selection, last: Chosen, near: Chosen, stride: float, resolution: float
) -> tuple[Chosen, float, Kind]:
    """The next point along a slope: as far on as the delta-v may rise by the resolution at most."""
    best, kind = near, "step"
    while True:
        further = selection.best(("delta_v", "finish"), finish_s=last.finish_s - stride, ties=False)
        if further is None or further.delta_v_m_s - last.delta_v_m_s > resolution:
            if stride <= 1.0 or kind == "slope":
                return best, max(stride / 2.0, 1.0), kind  # type: ignore[return-value]
            stride /= 4.0
            continue
        best, kind = further, "slope"
        if further.delta_v_m_s - last.delta_v_m_s > 0.5 * resolution or stride > 1e7:
            return best, stride, "slope"
        stride *= 2.0


def _nothing_saved_by_time(selection: Selection, only: Chosen) -> bool:
    """Whether everybody is launched and pays no more than a launch that arrives in place."""
    problem = selection.made.problem
    if not len(only.options) or (only.options.pad < 0).any():
        return False
    least = min(w.entry_delta_v_m_s + problem.touch(w.arrival_speed_m_s).level_cost for w in problem.ways)
    return bool(np.all(only.options.delta_v_m_s <= least + 1e-6))


def note(walked: Walked, selection: Selection) -> str:
    """What a reader must know about the front, in words."""
    said = []
    if len(walked.plans) == 1:
        free = _nothing_saved_by_time(selection, walked.plans[0])
        said.append(
            "nothing to trade: waiting on the pad is free, since the turning site brings every slot into place by "
            "itself, and the cheapest plan is also the earliest"
            if free
            else "nothing to trade: the cheapest plan is also the earliest"
        )
    if walked.resolution_m_s > 0.0:
        said.append(
            f"where it slopes, points are listed so closely that no plan between two of them saves more than "
            f"{walked.resolution_m_s:.2f} m/s over the earlier one"
        )
    if not walked.complete:
        said.append(f"only the {len(walked.plans)} cheapest points are listed; still faster plans exist")
    said.extend(selection.made.notes)
    return "; ".join(said)
