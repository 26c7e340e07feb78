"""The picture of the price of time: drawn from a small solved case of our own."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

from ringwright.optimizer.rendezvous.optimum import State
from ringwright.optimizer.rendezvous.time_price import TimePrice, price_of_time
from ringwright.reports.figures.style import paper, save
from ringwright.reports.figures.time_price import draw_time_price


@pytest.fixture(scope="module")
def price() -> TimePrice:
    gm, radius = 9.1205e12, 2_600_000.0
    speed = math.sqrt(gm / radius)
    period = 2.0 * math.pi * radius / speed
    start = State(position_m=(radius, 0.0, 0.0), velocity_m_s=(0.0, speed, 0.0))
    return price_of_time(
        start,
        gm=gm,
        ring_radius_m=radius,
        slot_lead_rad=math.radians(-60.0),
        allowed_s=list(np.linspace(1.1, 2.1, 6) * period),
        floor_m=0.9 * radius,
    )


def test_is_never_dearer_than_the_tangent_orbits(price: TimePrice) -> None:
    assert (price.delta_v_m_s <= price.tangent_m_s * (1.0 + 1e-9)).all()
    # the tangent orbit above that returns after one turn: 7/6 of the ring's period
    a = (7.0 / 6.0) ** (2.0 / 3.0)
    speed_m_s = math.tau * price.ring_radius_m / price.ring_period_s
    assert price.tangent_m_s[-1] == pytest.approx(2.0 * (math.sqrt(2.0 - 1.0 / a) - 1.0) * speed_m_s)
    assert math.isinf(price.tangent_m_s[0])


def test_steps_stand_where_tangent_orbits_end(price: TimePrice) -> None:
    """The slot 60 deg behind is met after k turns and a sixth of the ring (k whole)."""
    ends = (np.arange(1, 2) + 1.0 / 6.0) * price.ring_period_s
    assert price.step_ends_s == pytest.approx(ends)
    with paper():
        axes = draw_time_price(price, "Larch").axes[0]
    level = next(np.asarray(line.get_xdata(), dtype=float) for line in axes.lines if line.get_linewidth() == 1.0)
    assert ends[0] == pytest.approx(level[np.isclose(level, ends[0])][0])
    assert np.isclose(level, ends[0]).sum() == 2


def test_is_drawn_alike_each_time_and_says_what_was_not_proved(price: TimePrice, tmp_path: Path) -> None:
    with paper():
        for name in ("first", "second"):
            save(draw_time_price(price, "Larch"), tmp_path, name)
        figure = draw_time_price(price, "Larch")
    assert (tmp_path / "first.svg").read_bytes() == (tmp_path / "second.svg").read_bytes()
    words = " ".join(text.get_text().replace("\n", " ") for text in figure.texts)
    assert "Larch: what time is worth" in words
    assert "60.0 deg behind" in words
    assert "2 340 km" in words
    assert "not proved best" in words
    assert "thick where it takes three or four burns" in words
    drawn = " ".join(text.get_text() for text in figure.axes[0].texts)
    assert "best flight" in drawn
    # what is not proved for all flights is not drawn as a bound
    assert "bound" not in words + drawn


def test_nothing_to_draw_is_refused(price: TimePrice) -> None:
    empty = dataclasses.replace(price, best=(None,) * len(price.best))
    with pytest.raises(ValueError, match="without a flight"):
        draw_time_price(empty, "Larch")
