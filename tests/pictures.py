"""Draws the pictures that the README shows, each from what is bundled: ``make pictures``.

The picture of growth is timed, not computed: ``make bench`` draws it.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.outcome import Outcome
from ringwright.reports.figures import drawings
from ringwright.reports.figures.style import content, paper
from ringwright.scenarios import text
from ringwright.tests.planned import outcome_of

PLACE = Path(__file__).parent.parent / "reports" / "pictures"


@cache
def planned(name: str) -> Outcome:
    """A bundled scenario, planned."""
    return outcome_of(parse_scenario(text(name)))


def _of_demo(name: str) -> Figure:
    return drawings(planned("four-over-the-equator"))[name]()


def _budget() -> Figure:
    from ringwright.optimizer.robustness.budget import make_budget
    from ringwright.reports.figures.budget import draw_budget

    return draw_budget(make_budget(planned("atoll-on-the-equator")))


def _worth_of_time() -> Figure:
    """Sixty degrees behind, which the README's table quotes."""
    from ringwright.optimizer.rendezvous.optimum import State
    from ringwright.optimizer.rendezvous.time_price import price_of_time
    from ringwright.reports.figures.time_price import draw_time_price

    ring = planned("four-over-the-equator").ring
    speed = float(np.sqrt(ring.gm / ring.radius_m))
    price = price_of_time(
        State(position_m=(ring.radius_m, 0.0, 0.0), velocity_m_s=(0.0, speed, 0.0)),
        gm=ring.gm,
        ring_radius_m=ring.radius_m,
        slot_lead_rad=np.radians(60.0),
        allowed_s=(ring.period_s * np.linspace(0.6, 4.6, 161)).tolist(),
        floor_m=planned("four-over-the-equator").scenario.floor_m,
    )
    return draw_time_price(price, "A craft 60 deg behind its slot")


PICTURES: dict[str, Callable[[], Figure]] = {
    "front": lambda: _of_demo("front"),
    "turning_view": lambda: _of_demo("turning_view"),
    "budget": _budget,
    "worth_of_time": _worth_of_time,
}


def svg(name: str) -> bytes:
    """One of the pictures, as its file should be."""
    with paper():
        return content(PICTURES[name](), "svg")


def main(names: Sequence[str]) -> int:
    for name in names or PICTURES:
        (PLACE / f"{name}.svg").write_bytes(svg(name))
        print(PLACE / f"{name}.svg")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
