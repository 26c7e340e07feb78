"""Figures of an outcome, one file each, as SVG and PNG."""

from __future__ import annotations

from pathlib import Path

from ...optimizer.outcome import Outcome


def draw_all(outcome: Outcome, directory: str | Path) -> list[Path]:
    """Draw every figure of an outcome: ``front``, ``ring_from_above``, ``turning_view``, ``timeline``, and
    ``worth_of_time`` where it was worked out.

    Args:
        outcome: without a plan there is nothing to draw; where no craft moves there is no timeline.
        directory: where the files go; must exist.

    Returns:
        The paths written, an SVG and a PNG for each figure; empty without a plan.
    """
    from .front import draw_front
    from .ring_from_above import draw_ring_from_above
    from .style import paper, save
    from .time_price import draw_time_price
    from .timeline import draw_timeline
    from .turning_view import draw_turning_view

    if not outcome.plans:
        return []
    paths: list[Path] = []
    with paper():
        if outcome.front is not None and outcome.front.points:
            paths += save(draw_front(outcome), directory, "front")
        first = min(outcome.plans, key=lambda plan: plan.rank)
        planes = sorted({part.plane for part in first.craft}) or [0]
        for plane in planes:
            which = f"_plane_{plane}" if outcome.ring.planes > 1 else ""
            paths += save(draw_ring_from_above(outcome, first, plane), directory, f"ring_from_above{which}")
            paths += save(draw_turning_view(outcome, first, plane), directory, f"turning_view{which}")
        if any(plan.rank == 1 and plan.craft for plan in outcome.plans):
            paths += save(draw_timeline(outcome), directory, "timeline")
        if outcome.price is not None:
            name = f"{outcome.price.craft}, slot {outcome.price.slot}"
            paths += save(draw_time_price(outcome.price.price, name), directory, "worth_of_time")
    return paths
