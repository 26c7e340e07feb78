"""Figures of an outcome, a module each; this one names them all and draws them into a directory."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from ...optimizer.one_plan import plan_of_rank
from ...optimizer.outcome import Outcome

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def drawings(outcome: Outcome, rank: int | None = None) -> dict[str, partial[Figure]]:
    """Every picture that an outcome has, by name, as a call that draws it.

    ``front`` where there is something to trade; ``turning_view`` and ``unrolled_ring``, one a plane where the ring has
    several; ``timeline`` where craft move; ``spacing`` where it was followed over years; ``worth_of_time`` where it was
    worked out. Empty without a plan.

    Args:
        rank: of the plan whose ways are drawn; the best one when absent.

    Raises:
        InputError: there is no plan of that rank.
    """
    from .front import draw_front
    from .spacing import draw_spacing
    from .time_price import draw_time_price
    from .timeline import draw_timeline
    from .turning_view import draw_turning_view
    from .unrolled_ring import draw_unrolled_ring

    found: dict[str, partial[Figure]] = {}
    if not outcome.plans:
        return found
    if outcome.front is not None and len(outcome.front.points) > 1:
        found["front"] = partial(draw_front, outcome)
    first = plan_of_rank(outcome, rank)
    outcome = outcome.at_phase_of(first)
    for plane in sorted({part.plane for part in first.craft}) or [0]:
        which = f"_plane_{plane}" if outcome.ring.planes > 1 else ""
        found[f"turning_view{which}"] = partial(draw_turning_view, outcome, first, plane)
        found[f"unrolled_ring{which}"] = partial(draw_unrolled_ring, outcome, first, plane)
    if first.craft:
        found["timeline"] = partial(draw_timeline, outcome, first)
    if outcome.under is not None and outcome.under.hold is not None and first.rank == 1:
        found["spacing"] = partial(draw_spacing, outcome, outcome.under.hold)
    if outcome.price is not None:
        name = f"{outcome.price.craft}, slot {outcome.price.slot}"
        order = [part.craft for part in first.craft]
        index = order.index(outcome.price.craft) if outcome.price.craft in order else 0
        found["worth_of_time"] = partial(draw_time_price, outcome.price.price, name, index)
    return found


def draw_all(outcome: Outcome, directory: str | Path, rank: int | None = None) -> list[Path]:
    """Draw every figure of an outcome (see :func:`drawings`).

    Returns:
        The paths written, an SVG and a PNG for each figure; empty without a plan.
    """
    from .style import paper, save

    paths: list[Path] = []
    with paper():
        for name, draw in drawings(outcome, rank).items():
            paths += save(draw(), directory, name)
    return paths
