"""A ring period without a body: what periods alone answer, and nothing more.

T_p = (m T - L T / 2 pi) / k (Vallado, section 6.6), written down here; the exactness against two orbits in
``test_command.py``, as it depends on the ratio of the periods alone.
"""

from __future__ import annotations

import re

import pytest

from ringwright.models.errors import InputError
from ringwright.models.readouts import clock
from ringwright.optimizer.period import fitting
from ringwright.reports.period.command import NO_OPTION, run
from ringwright.reports.period.periods_alone import read_alone
from ringwright.reports.period.question import read
from ringwright.tests.tolerances import CHAIN_REL, SLOPE_REL

from .test_command import RING_S as EARTH_RING_S
from .test_command import answer, flat, parsed, slot_deg_per_s

RING_S = 5 * 3600 + 47 * 60 + 39.7
ALONE = "--ring-period 5:47:39.7 --slot-ahead 86deg"


def test_periods_and_exactness_follow_from_the_ring_period() -> None:
    text = answer(ALONE, 100)
    rows = re.findall(r"^ +(\d+)  lower, gains 86 deg +(\S+)  .*?([\d.]+) +([\d.]+)$", text, flags=re.MULTILINE)
    assert len(rows) == 12
    for k, shown, slope, exact in rows:
        turns = int(k) - 86.0 / 360.0
        assert shown == clock(turns * RING_S / int(k))
        # two digits are printed; the ring of ``test_command.py`` has nearly this period
        expected = slot_deg_per_s(turns * EARTH_RING_S / int(k), int(k))
        assert float(slope) == pytest.approx(expected, rel=SLOPE_REL)
        assert float(exact) == pytest.approx(0.5 / expected, rel=SLOPE_REL)


def test_it_says_what_is_not_judged_and_prints_none_of_it() -> None:
    text = flat(answer(f"{ALONE} --got 5:20:01.0"))
    assert "neither delta-v nor clearance is judged" in text
    assert "m/s" not in text
    assert " km" not in text


def test_the_same_periods_fit_with_a_body() -> None:
    """Any body with that ring period gives the same periods, as long as nothing is too low."""
    alone = fitting(read_alone(parsed(ALONE)).question)
    with_body = fitting(read(parsed(f"{ALONE} --around ceres")).question)
    deep = with_body.period_s.min()
    kept = alone.period_s >= deep * (1.0 - 1e-12)
    assert kept.any()
    assert alone.period_s[kept] == pytest.approx(with_body.period_s, rel=CHAIN_REL)
    assert alone.wait_s[kept] == pytest.approx(with_body.wait_s, rel=CHAIN_REL)


def test_a_period_that_was_read_goes_on_to_the_next_stop() -> None:
    text = flat(answer(f"{ALONE} --got 5:20:01.0"))
    turns = 4 - 86.0 / 360.0
    assert "It comes closest after 3 revolutions" in text
    assert f"stop on the way back to the ring's period: {clock(turns * RING_S / 4)} (4 revolutions" in text


def test_limits_that_leave_nothing_say_so() -> None:
    status, text = run(parsed(f"{ALONE} --within 1h"), 80)
    assert status == NO_OPTION
    assert "NO PERIOD FITS THE LIMITS" in text


@pytest.mark.parametrize("option", ["--floor 200km", "--ceiling 9000km", "--from 190x10000km", "--save x.toml"])
def test_altitudes_need_a_body(option: str) -> None:
    with pytest.raises(InputError, match="add --around earth"):
        run(parsed(f"{ALONE} {option}"), 80)


def test_stops_that_cost_the_same_are_one_ladder() -> None:
    text = answer("--around earth --ring 10000km --slot-ahead 86deg --from 190x10000km --floor 140km --within 3d", 120)
    ladder = text.split("One ladder of stops", 1)[1].split("Each stop costs 1 200.6 m/s in all", 1)[0]
    shown = re.findall(r"(\d):(\d\d):(\d\d\.\d)", ladder)
    seconds = [3600 * int(h) + 60 * int(m) + float(s) for h, m, s in shown]
    assert len(seconds) == 12
    assert seconds == sorted(seconds)
    assert len(re.findall(r" 1 200\.6 ", ladder)) == 12
