"""One figure of a plan as one file: for a report, a column or a slide; the film strip and the animated picture too."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from ...models.errors import InputError
from ...optimizer.outcome import Outcome, Plan
from ..files import write_bytes
from . import drawings
from .moments import draw_strip, motion
from .style import FORMATS, REPORT, content, paper

STILL = ("svg", "png", "pdf")


WITHOUT = {
    "front": " There is nothing to trade: one plan is both the cheapest and the soonest.",
    "worth_of_time": " It is of craft that are in space, and needs time: --time-limit SECONDS allows more.",
}
"""Why a plan may have no figure of a name."""


def figure_file(name: str, out: str | None) -> Path:
    """Where a figure goes, checked before anything is planned.

    Args:
        out: as asked for; None for the figure's own name.

    Raises:
        InputError: the ending of the file is none that the figure can have.

    >>> figure_file("front", None).name, figure_file("motion", None).name
    ('front.svg', 'motion.gif')
    """
    place = Path(out or f"{name}.{'gif' if name == 'motion' else 'svg'}")
    kinds = ("gif",) if name == "motion" else STILL
    if place.suffix.lower().lstrip(".") not in kinds:
        wanted = " or ".join(f".{kind}" for kind in kinds)
        raise InputError(f"--out {str(place)!r}: the figure {name!r} is written as {wanted}.", where="command line")
    return place


def write_figure(
    outcome: Outcome, plan: Plan, name: str, place: Path, *, form: str | None, progress: Callable[[str], None]
) -> Path:
    """Draw one figure of a plan and write it.

    Args:
        name: one of those of :func:`.drawings`, where one of several planes may be left out for the first; ``strip``
            or ``motion``.
        form: ``column`` or ``slide``; None for a report.

    Raises:
        InputError: there is no such figure of this plan.
    """
    progress(f"figure {name}")
    with paper(FORMATS[form] if form else REPORT):
        if name in {"strip", "motion"} and not plan.craft:
            raise InputError(f"there is no figure {name!r}: no craft moves in this plan.", where="command line")
        if name == "motion":
            return write_bytes(place, motion(outcome, plan, progress=progress))
        if name == "strip":
            return write_bytes(place, content(draw_strip(outcome, plan), place.suffix.lower().lstrip(".")))
        known = drawings(outcome, plan.rank)
        found = next((one for one in known if one == name or one.startswith(f"{name}_plane_")), None)
        if found is None:
            names = ", ".join((*known, *(("strip", "motion") if plan.craft else ())))
            raise InputError(
                f"there is no figure {name!r} of this plan.{WITHOUT.get(name, '')} Write one of these: {names}.",
                where="command line",
            )
        return write_bytes(place, content(known[found](), place.suffix.lower().lstrip(".")))
