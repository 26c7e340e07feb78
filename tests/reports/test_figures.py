"""Figures: that they are made, whole and the same every time, and that what they draw is where the plan says."""

from __future__ import annotations

import hashlib
import math
import struct
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from ringwright.optimizer.outcome import Outcome
from ringwright.reports.figures import draw_all, drawings
from ringwright.reports.figures.arcs import craft_arcs
from ringwright.reports.figures.front import draw_front
from ringwright.reports.figures.style import ink, paper, save
from ringwright.reports.figures.timeline import draw_timeline, time_axis
from ringwright.reports.figures.turning_view import draw_turning_view
from ringwright.tests.reports import sample
from ringwright.tests.tolerances import EIGHT_DIGITS_REL, FLOAT_RAD, ROADS_REL, WRITTEN_S

NAMES = ["front", "turning_view", "unrolled_ring", "timeline"]
SAMPLES = [sample.relay, sample.dozen, sample.single, sample.freeform, sample.parked]


def texts(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def test_every_figure_is_written_as_svg_and_png(tmp_path: Path) -> None:
    paths = draw_all(sample.relay(), tmp_path)
    assert [path.name for path in paths] == [f"{name}.{kind}" for name in NAMES for kind in ("svg", "png")]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in paths)
    for path in paths:
        content = path.read_bytes()
        if path.suffix == ".svg":
            assert ET.fromstring(content).tag == "{http://www.w3.org/2000/svg}svg"
            assert b"<dc:date>" not in content
        else:
            # PNG signature and IHDR (ISO/IEC 15948, sections 5.2 and 11.2.2)
            assert content[:8] == b"\x89PNG\r\n\x1a\n"
            width, height = struct.unpack(">II", content[16:24])
            assert 900 < width < 2000
            assert 300 < height < 2000


def test_figures_are_the_same_bytes_every_time(tmp_path: Path) -> None:
    def prints() -> list[str]:
        with paper():
            paths = save(draw_timeline(sample.single(), sample.single().plans[0]), tmp_path, "timeline")
        return [hashlib.sha256(path.read_bytes()).hexdigest() for path in paths]

    assert prints() == prints()


def test_a_users_own_settings_change_nothing(tmp_path: Path) -> None:
    from matplotlib import rc_context

    with paper():
        plain = save(draw_front(sample.single()), tmp_path, "plain")[0].read_bytes()
    with rc_context({"axes.grid": True, "lines.linewidth": 7.0, "font.size": 20.0}), paper():
        other = save(draw_front(sample.single()), tmp_path, "other")[0].read_bytes()
    assert plain == other


def test_without_a_plan_nothing_is_drawn(tmp_path: Path) -> None:
    assert draw_all(sample.impossible(), tmp_path) == []
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(ValueError, match="front"):
        draw_front(sample.impossible())


def _drawn(outcome: Outcome, name: str) -> Figure:
    """A figure by its name, of a ring with several planes that of the first."""
    return next(draw() for known, draw in drawings(outcome).items() if known.startswith(name))


@pytest.mark.parametrize("make", SAMPLES)
@pytest.mark.parametrize("name", ["unrolled_ring", "turning_view", "timeline"])
def test_every_craft_is_named_and_no_label_leaves_the_sheet(name: str, make: Callable[[], Outcome]) -> None:
    outcome = make()
    with paper():
        figure = _drawn(outcome, name)
        canvas = FigureCanvasAgg(figure)
        renderer = canvas.get_renderer()  # type: ignore[no-untyped-call]
        words = "\n".join(texts(figure))
        for part in outcome.plans[0].craft:
            assert part.craft in words
        for axes in figure.axes:
            for text in axes.texts:
                box = text.get_window_extent(renderer)
                assert box.x0 >= 0.0, text.get_text()
                assert box.x1 <= figure.bbox.x1, text.get_text()


@pytest.mark.parametrize("make", [sample.relay, sample.dozen])
@pytest.mark.parametrize("figure_name", ["unrolled_ring", "turning_view", "timeline", "front"])
def test_labels_do_not_cover_each_other(figure_name: str, make: Callable[[], Outcome]) -> None:
    with paper():
        figure = _drawn(make(), figure_name)
        renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
        boxes = [(text.get_text(), text.get_window_extent(renderer)) for axes in figure.axes for text in axes.texts]
    assert len(boxes) > 1
    for (name, box), (other, another) in combinations(boxes, 2):
        across = min(box.x1, another.x1) - max(box.x0, another.x0)
        upward = min(box.y1, another.y1) - max(box.y0, another.y0)
        assert across <= 1.0 or upward <= 1.0, (name, other)


def test_a_step_front_never_slopes() -> None:
    with paper():
        figure = draw_front(sample.relay())
    x, y = (np.asarray(values, dtype=float) for values in figure.axes[0].lines[0].get_data())
    assert np.all((np.diff(x) == 0.0) | (np.diff(y) == 0.0))
    assert np.all(np.diff(x) >= 0.0)
    assert np.all(np.diff(y) <= 0.0)


def test_slopes_and_curves_are_drawn_as_such() -> None:
    outcome = sample.sloped()
    assert outcome.front is not None
    with paper():
        figure = draw_front(outcome)
    x, y = (np.asarray(values, dtype=float) for values in figure.axes[0].lines[0].get_data())
    points = outcome.front.points
    assert [point.kind for point in points].count("slope") == 1
    for point, following in pairwise(points):
        middle_s = 0.5 * (point.finish_s + following.finish_s)
        gradual = 0.5 * (point.delta_v_m_s + following.delta_v_m_s)
        expected = point.delta_v_m_s if point.kind == "step" else gradual
        assert float(np.interp(middle_s, x, y)) == pytest.approx(expected, rel=ROADS_REL)


def test_one_far_dearer_plan_does_not_press_the_others_flat() -> None:
    outcome = sample.relay()
    assert outcome.front is not None
    last = outcome.plans[5]
    dear = replace(last, delta_v_m_s=40_000.0)
    points = tuple(replace(p, delta_v_m_s=40_000.0) if p.plan == last.rank else p for p in outcome.front.points)
    plans = tuple(dear if plan is last else plan for plan in outcome.plans)
    with paper():
        axes = draw_front(replace(outcome, plans=plans, front=replace(outcome.front, points=points))).axes[0]
        assert axes.get_yscale() == "log"
        assert "logarithmic" in axes.get_ylabel()
        assert draw_front(outcome).axes[0].get_yscale() == "linear"


def test_the_chosen_plan_is_named_in_the_front() -> None:
    with paper():
        words = texts(draw_front(sample.dozen()))
    assert any(text.startswith("plan 1\n42.3 m/s\n14 h 14 min") for text in words)


@pytest.mark.parametrize("make", [sample.relay, sample.dozen, sample.freeform, sample.parked])
def test_arcs_end_in_the_slot_and_show_the_orbits_of_the_plan(make: Callable[[], Outcome]) -> None:
    outcome = make()
    assert outcome.plans
    for plan in outcome.plans:
        for part in plan.craft:
            arcs = [arc for arc in craft_arcs(outcome, part) if arc.stage == "phasing"]
            if not arcs:
                continue
            slot = float(outcome.ring.phase(part.in_slot_s, part.slot))
            end = arcs[-1].position_m[-1]
            assert math.hypot(*end) == pytest.approx(outcome.ring.radius_m, rel=ROADS_REL)
            assert math.remainder(math.atan2(end[1], end[0]) - slot, 2.0 * math.pi) == pytest.approx(0.0, abs=FLOAT_RAD)
            # worked back from the slot, against the apsides that the plan gives after each burn
            assert arcs
            for arc, burn in zip(arcs, part.burns, strict=False):
                assert arc.periapsis_m == pytest.approx(burn.periapsis_after_m, rel=EIGHT_DIGITS_REL)
                assert arc.apoapsis_m == pytest.approx(burn.apoapsis_after_m, rel=EIGHT_DIGITS_REL)
                assert arc.time_s[0] == pytest.approx(burn.time_s, abs=WRITTEN_S)


def test_the_ascent_starts_where_the_launcher_lets_go() -> None:
    outcome = sample.relay()
    scenario, birch = outcome.scenario, outcome.plans[0].craft[0]
    pad = scenario.pads[0]
    ascent = craft_arcs(outcome, birch)[0]
    assert ascent.stage == "ascent"
    begin = ascent.position_m[0]
    assert math.hypot(*begin) == pytest.approx(pad.insertions[0].radius_m, rel=ROADS_REL)
    assert birch.launch_s is not None
    site = pad.longitude_rad + scenario.body.spin_rad_s * birch.launch_s + pad.downrange_rad
    assert math.remainder(math.atan2(begin[1], begin[0]) - site, 2.0 * math.pi) == pytest.approx(0.0, abs=FLOAT_RAD)


def test_a_craft_in_space_starts_on_its_own_orbit() -> None:
    outcome = sample.relay()
    hazel = outcome.plans[0].craft[2]
    before = craft_arcs(outcome, hazel)[0]
    orbit = outcome.scenario.craft[2].orbit
    assert orbit is not None
    assert before.stage == "before"
    assert before.periapsis_m == pytest.approx(orbit.periapsis_m, rel=ROADS_REL)
    assert before.apoapsis_m == pytest.approx(orbit.apoapsis_m, rel=ROADS_REL)
    assert math.remainder(before.angle_rad[-1] - orbit.angle_rad, 2.0 * math.pi) == pytest.approx(0.0, abs=FLOAT_RAD)


def test_a_turned_plane_is_taken_back_too() -> None:
    # a last burn that turns the plane by 2 deg: 2 v sin(i/2), textbook; before it the same speed along the track
    outcome = sample.dozen()
    speed, tilt = outcome.ring.speed_m_s, math.radians(2.0)
    part = outcome.plans[0].craft[1]
    burn = part.burns[-1]
    size = 2.0 * speed * math.sin(0.5 * tilt)
    turned = replace(
        burn,
        delta_v_m_s=size,
        radial_m_s=0.0,
        along_m_s=speed * (math.cos(tilt) - 1.0),
        cross_m_s=speed * math.sin(tilt),
    )
    arcs = craft_arcs(outcome, replace(part, burns=(part.burns[0], turned)))
    before = arcs[-1]
    assert before.periapsis_m == pytest.approx(outcome.ring.radius_m, rel=ROADS_REL)
    assert before.apoapsis_m == pytest.approx(outcome.ring.radius_m, rel=ROADS_REL)


def test_loops_close_on_the_slot_in_the_turning_view() -> None:
    outcome = sample.relay()
    with paper():
        figure = draw_turning_view(outcome, outcome.plans[0], 0)
    lines = figure.axes[0].lines
    for index, part in enumerate(outcome.plans[0].craft):
        angle = 0.5 * math.pi + part.slot * outcome.ring.spacing_rad
        place = (math.cos(angle), math.sin(angle))
        paths = [np.asarray(line.get_xydata(), dtype=float) for line in lines if line.get_color() == ink(index)]
        ends = [path[-1] for path in paths if len(path) > 100]
        assert min(math.dist(end, place) for end in ends) < 1e-6


def test_idle_time_is_cut_from_the_axis_and_order_kept() -> None:
    day = 86400.0
    axis = time_axis([(0.0, 3600.0), (9.0 * day, 9.0 * day + 3600.0), (18.0 * day, 18.0 * day + 7200.0)])
    assert len(axis.shown) == 3
    assert axis.length < 6.0 * 3600.0
    moments = np.linspace(0.0, 18.0 * day + 7200.0, 997)
    places = [axis.place(float(time_s)) for time_s in moments]
    assert all(later >= earlier for earlier, later in pairwise(places))
    # inside a shown stretch the axis is true to scale
    assert axis.place(9.0 * day + 3000.0) - axis.place(9.0 * day + 600.0) == pytest.approx(2400.0)
    assert len(time_axis([(0.0, 4.0 * day), (5.0 * day - 3600.0, 9.0 * day)]).shown) == 1
