"""The command ``period`` as typed: what it prints, what it refuses, and the scenario that it saves.

Numbers are recomputed here with Kepler's third law and the vis-viva equation, or are printed in a book.
"""

from __future__ import annotations

import argparse
import math
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from ringwright.models.errors import InputError
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.reading.scenario_reader import read_scenario
from ringwright.models.readouts import clock
from ringwright.optimizer.period import fitting
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.robustness.sensitivity import sensitivities
from ringwright.reports.period.command import NO_OPTION, add_arguments, run
from ringwright.reports.period.question import OWN_WORLD, read
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.typed import apsides, quantity
from ringwright.tests.tolerances import (
    FLOAT_RAD,
    HALF_DIGIT,
    HALF_HUNDREDTH_DEG,
    HALF_SLOT_DEG,
    LAST_BIT_RAD,
    MILLIMETER_M,
    NINE_DECIMALS_MIN,
    SUMMED_S,
    TEN_DIGITS_KM_S,
    TWO_SQUARED_REL,
    WRITTEN_M_S,
    WRITTEN_S,
)

from ...planned import outcome_of

WORKED = "--around earth --ring 10000km --slot-ahead 86deg --from 190x10000km --floor 140km --within 3d"
EARTH_GM, EARTH_M = 398600.43550702266e9, 6378136.6  # JPL DE441; IAU WGCCRE 2015
RING_M = EARTH_M + 10_000e3
RING_S = math.tau * math.sqrt(RING_M**3 / EARTH_GM)

NARROWEST = 60
"""The narrowest page that the command line asks for."""


def parsed(line: str) -> argparse.Namespace:
    """The options as argparse hands them on."""
    parser = argparse.ArgumentParser(prog="ringwright period", exit_on_error=False)
    add_arguments(parser)
    return parser.parse_args(line.split())


def answer(line: str, width: int = 80) -> str:
    """The text of an answer that exists."""
    status, text = run(parsed(line), width)
    assert status == 0
    return text


def flat(text: str) -> str:
    """The text as one line, so that it can be searched across line ends."""
    return " ".join(text.split())


def period_of(turns: float, k: int) -> float:
    """T_p of k revolutions while the slot makes that many turns, s."""
    return turns * RING_S / k


def speed_at_ring(period_s: float) -> float:
    """Vis-viva with Kepler's third law, m/s."""
    semi = (EARTH_GM * (period_s / math.tau) ** 2) ** (1.0 / 3.0)
    return math.sqrt(EARTH_GM * (2.0 / RING_M - 1.0 / semi))


def arrival_speed(other_km: float) -> float:
    """Speed at the ring on the orbit whose other apsis is at that altitude, m/s."""
    return math.sqrt(EARTH_GM * (2.0 / RING_M - 2.0 / (RING_M + EARTH_M + other_km * 1e3)))


def slot_deg_per_s(period_s: float, k: int) -> float:
    """Mean slot error of the first turn for a second of period, later burn as planned: differences of two orbits."""
    errors = []
    for off_s in (-1.0, 1.0):
        # where the planned burn finds the craft: k * off_s before or after the touch, in the frame of the touch
        first = semi_of(period_s + off_s)
        ratio = RING_M / first - 1.0  # e cos f where it touches, signed: below zero at the apoapsis
        e, mean_rad = abs(ratio), -math.tau * k * off_s / (period_s + off_s) + (math.pi if ratio > 0.0 else 0.0)
        ecc = mean_rad
        for _ in range(50):
            ecc = mean_rad + e * math.sin(ecc)
        place = complex(first * (math.cos(ecc) - e), first * math.sqrt(1.0 - e * e) * math.sin(ecc))
        rate = math.sqrt(EARTH_GM * first) / abs(place)
        speed = complex(-rate * math.sin(ecc), rate * math.sqrt(1.0 - e * e) * math.cos(ecc))
        if ratio > 0.0:
            place, speed = -place, -speed
        speed += 1j * place / abs(place) * (CIRCULAR - speed_at_ring(period_s))
        # the orbit after it: mean longitude now, and what half a turn at its rate leaves
        last = 1.0 / (2.0 / abs(place) - abs(speed) ** 2 / EARTH_GM)
        moment = (place.conjugate() * speed).imag
        vector = -1j * moment * speed / EARTH_GM - place / abs(place)
        way = place / vector * abs(vector) if abs(vector) > 0.0 else place
        true = math.atan2(way.imag, way.real)
        anomaly = 2.0 * math.atan(math.sqrt((1.0 - abs(vector)) / (1.0 + abs(vector))) * math.tan(0.5 * true))
        longitude = math.atan2(vector.imag, vector.real) + anomaly - abs(vector) * math.sin(anomaly)
        errors.append(
            math.remainder(longitude, math.tau) + math.pi * (RING_S / (math.tau * math.sqrt(last**3 / EARTH_GM)) - 1.0)
        )
    return math.degrees(errors[0] - errors[1]) / 2.0


def semi_of(period_s: float) -> float:
    """Kepler's third law, m."""
    return float((EARTH_GM * (period_s / math.tau) ** 2) ** (1.0 / 3.0))


CIRCULAR = math.sqrt(EARTH_GM / RING_M)

EVERY_KIND = [
    WORKED,
    f"{WORKED} --got 5:20:01.0",
    f"{WORKED} --got 4:30:00 --all",
    "--around earth --ring 10000km --slot-ahead 86deg --from -400x10000km --within 30h --got 2:58:00",
    "--around earth --ring 10000km --slot-behind 20deg --from ringx14000km --ceiling 13000km --got 6:40:00",
    "--gm 398600km3/s2 --radius 6378km --ring-period 5:47:39.7 --slot-behind 40deg --all --ceiling 30000km",
    "--around moon --ring 5000km --slot-ahead 3.1rad --from 15kmxring",
    "--around earth --ring 10000km --slot-ahead 0deg --from 190x10000km",
    "--around earth --ring 10000km --slot-ahead 0deg",
    "--around earth --ring 10000km --slot-ahead 170deg --within 2h --floor 7000km --revolutions 0 --got 6:00:00",
    "--around earth --ring 10000km --slot-ahead 170deg --within 8h --floor 5000km --ceiling 12000km --revolutions 1",
]


@pytest.mark.parametrize("width", [NARROWEST, 80, 120])
@pytest.mark.parametrize("line", EVERY_KIND)
def test_no_line_is_wider_than_asked(line: str, width: int) -> None:
    """At any width; every text ends in the caution, and in one newline."""
    _, text = run(parsed(line), width)
    assert max(len(one) for one in text.splitlines()) <= width
    assert flat(text).endswith("they prevail over anything printed here.")
    assert text.endswith(".\n")
    assert "A planning aid, not flight software." in flat(text)
    assert not any(one != one.rstrip() for one in text.splitlines())


def test_wide_page_has_one_row_an_option() -> None:
    """Where there is room all is in one table; on a narrow page the burns have a separate table."""
    narrow, wide = answer(WORKED, 80), answer(WORKED, 120)
    assert "Their burns" in narrow
    assert "Their burns" not in wide
    assert len(re.findall(r"^ +1 .*4:24:36\.5.* best$", wide, re.MULTILINE)) == 1


def test_worked_example_in_numbers() -> None:
    """Period, apsis, burns, total, time and exactness of the first option, recomputed."""
    turns = 1.0 - 86.0 / 360.0
    hit = period_of(turns, 1)
    semi = (EARTH_GM * (hit / math.tau) ** 2) ** (1.0 / 3.0)
    now = speed_at_ring(hit) - arrival_speed(190.0)
    later = CIRCULAR - speed_at_ring(hit)
    (row,) = re.findall(r"^ +1 .*best$", answer(WORKED, 120), re.MULTILINE)
    cells = re.split(r" {2,}", row.strip())
    assert cells[:3] == ["1", "lower, gains", clock(hit)]
    numbers = [float(cell.replace(" ", "")) for cell in cells[3:7]]
    other_km = (2.0 * semi - RING_M - EARTH_M) / 1e3
    assert numbers == pytest.approx([other_km, now, later, now + later], abs=HALF_DIGIT)
    assert cells[7] == "4 h 25 min"
    assert float(cells[8]) == pytest.approx(slot_deg_per_s(hit, 1), abs=HALF_SLOT_DEG)
    top = flat(answer(WORKED)).partition("The options")[0]
    assert (
        f"Cheapest and soonest: cut off at a period of {clock(hit)}. The craft gains 86 deg in 1 revolution of" in top
    )
    assert f"{now + later:.1f} m/s in all".replace("1200", "1 200") in top


def test_what_to_do_past_the_period() -> None:
    """From below an overshot period costs nothing: the next one that fits is named, two revolutions here."""
    following = period_of(2.0 - 86.0 / 360.0, 2)
    text = flat(answer(WORKED))
    assert f"do not burn back: go on to {clock(following)} (2 revolutions, in the slot after 10 h 12 min)" in text
    assert "That costs no more in all." in text
    # a craft on the ring has burned away from it, and every excess has to come back
    assert "is paid twice, as it has to be burned back: cut off early, not late." in flat(
        answer("--around earth --ring 10000km --slot-ahead 86deg")
    )


def test_cheapest_and_soonest_apart() -> None:
    """On the ring patience pays: both ends of the front are named, and what the time between them costs."""
    text = flat(answer("--around earth --ring 10000km --slot-ahead 60deg --revolutions 6"))
    slow, fast = period_of(6.0 - 1.0 / 6.0, 6), period_of(5.0 / 6.0, 1)
    low, high = (2.0 * (CIRCULAR - speed_at_ring(period)) for period in (slow, fast))
    assert f"Cheapest: cut off at a period of {clock(slow)}." in text
    assert f"Soonest: cut off at a period of {clock(fast)}." in text
    assert f"sooner costs {high - low:.1f} m/s more." in text
    rows = re.findall(
        r"(\d+:\d\d:\d\d\.\d) +[\d ]+\.\d +(?:\d+ \w+ ?)+ +(\w+)$",
        answer("--around earth --ring 10000km --slot-ahead 60deg --revolutions 6 --within 2d"),
        re.MULTILINE,
    )
    assert rows[0] == (clock(fast), "soonest")
    assert rows[-1] == (clock(slow), "cheapest")
    assert {mark for _, mark in rows[1:-1]} == {"unbeaten"}


@pytest.mark.parametrize(
    ("turns", "minutes", "total_km_s"),
    [
        # Vallado, Fundamentals of Astrodynamics and Applications, Example 6-8, companion tests
        (1, 225.6949830406, 0.2192686616),
        (2, 464.6661415543, 0.1064813979),
    ],
)
def test_vallado_example_6_8(turns: int, minutes: float, total_km_s: float) -> None:
    """Target 20 deg ahead on the circle of 12756.274 km, with the constants of the book."""
    line = (
        "--gm 398600.4415km3/s2 --radius 6378.1363km --ring 6378.1377km --slot-ahead 20deg --floor 100km "
        f"--revolutions {turns} --within {minutes + 0.01:.4f}min"
    )
    asked = read(parsed(line))
    rows = fitting(asked.question)
    assert rows.total_m_s[rows.cheapest] / 1e3 == pytest.approx(total_km_s, abs=TEN_DIGITS_KM_S)
    assert rows.wait_s[rows.cheapest] / 60.0 == pytest.approx(minutes, abs=NINE_DECIMALS_MIN)
    text = answer(line)
    assert clock(minutes * 60.0 / turns) in text
    assert f"{total_km_s * 1e3:.1f} m/s in all" in flat(text)


def got(line: str, width: int = 80) -> str:
    """What is said of a reached period, as one line."""
    return flat(answer(line, width).partition("at cut-off\n---")[2])


def test_got_a_period_that_fits_by_chance() -> None:
    """5:20:01.0 is 2.4 s past the third option: 0.12 deg after three revolutions, which is within the tolerance."""
    slot_deg = 86.0 + 3 * 19_201.0 / RING_S * 360.0
    behind = (slot_deg + 180.0) % 360.0 - 180.0
    text = got(f"{WORKED} --got 5:20:01.0")
    assert f"comes closest after 3 revolutions: the craft is then {behind:.2f} deg behind, within the 0.5 deg" in text
    following = period_of(4.0 - 86.0 / 360.0, 4)
    assert f"If it goes on, the next stop is {clock(following)} (37.7 m/s forward), 4 revolutions" in text
    assert "It costs nothing more" in text
    assert "as much as the cheapest option" in text


def test_got_errors_after_each_revolution() -> None:
    """The table of revolutions, recomputed."""
    rows = re.findall(r"^ +(\d+) +.*?  ([\d.]+) deg (ahead|behind)", answer(f"{WORKED} --got 5:20:01.0"), re.MULTILINE)
    assert [int(k) for k, _, _ in rows] == list(range(1, 13))
    for k, size, side in rows:
        error = (-(86.0 + int(k) * 19_201.0 / RING_S * 360.0) + 180.0) % 360.0 - 180.0
        assert float(size) * (1.0 if side == "ahead" else -1.0) == pytest.approx(error, abs=HALF_HUNDREDTH_DEG)


def test_got_past_the_first_stop() -> None:
    """4:30:00 overshoots the first option: the soonest free stop and the next one up are both named."""
    text = got(f"{WORKED} --got 4:30:00")
    soonest, nearest = period_of(2.0 - 86.0 / 360.0, 2), period_of(5.0 - 86.0 / 360.0, 6)
    burn = speed_at_ring(soonest) - speed_at_ring(16_200.0)
    assert f"NEXT STOP: {clock(soonest)} ({burn:.1f} m/s forward), 2 revolutions" in text
    assert f"The next one up that fits is {clock(nearest)}" in text
    assert "more than the 0.5 deg of tolerance" in text
    # back to the stop that was missed: twice the excess
    missed = period_of(1.0 - 86.0 / 360.0, 1)
    excess = speed_at_ring(16_200.0) - speed_at_ring(missed)
    row = next(one for one in answer(f"{WORKED} --got 4:30:00").splitlines() if one.startswith(f"  {clock(missed)}"))
    assert f"{excess:.1f} back" in row
    assert f" {2.0 * excess:.1f} " in row


def test_got_nothing_but_dearer_stops() -> None:
    """Past the last stop before the ring everything costs: how much is said."""
    line = (
        "--around earth --ring 10000km --slot-ahead 86deg --from 190x10000km --floor 140km --revolutions 2 --within 1d"
    )
    text = got(f"{line} --got 5:30:00")
    assert "No stop on the way to the ring fits." in text
    back = speed_at_ring(19_800.0) - speed_at_ring(period_of(2.0 - 86.0 / 360.0, 2))
    assert f"It costs {2.0 * back:.1f} m/s more than going to the ring at once would." in text
    assert f"{2.0 * back:.1f} m/s more than the cheapest option." in text


def test_got_below_the_floor_is_shouted() -> None:
    """An orbit that was left too low breaks the limit even where it meets the slot."""
    line = "--around earth --ring 10000km --slot-ahead 86deg --from -400x10000km --within 30h"
    text = got(f"{line} --got 3:15:00")
    assert "BELOW THE LOWEST ALTITUDE ALLOWED: DO NOT STAY ON IT." in text
    assert "can be left as it is" not in text
    high = "--around earth --ring 10000km --slot-behind 20deg --from ringx14000km --ceiling 13000km --got 6:40:00"
    assert "ABOVE THE HIGHEST ALTITUDE ALLOWED: DO NOT STAY ON IT." in got(high)


def test_coast_must_burn() -> None:
    """The warning of a coast; none for an orbit that can be flown again."""
    line = "--around earth --ring 10000km --slot-ahead 86deg --from -400x10000km --within 30h"
    text = flat(answer(line))
    assert "THE FIRST BURN CANNOT WAIT: the coast comes down to -400 km" in text
    assert "A miss re-enters." in text
    assert "CANNOT WAIT" not in answer(WORKED)
    # a coast that stays above the air does not re-enter
    higher = flat(answer(line.replace("-400x", "190x") + " --floor 500km"))
    assert "CANNOT WAIT" in higher
    assert "re-enters" not in higher


def test_arrival_from_above() -> None:
    """Both burns point back, the craft falls back, and the sum is that of going to the ring at once."""
    line = "--around earth --ring 10000km --slot-behind 20deg --from 10000x14000km --within 60h"
    asked = read(parsed(line))
    rows = fitting(asked.question)
    least = math.sqrt(EARTH_GM * (2.0 / RING_M - 2.0 / (RING_M + EARTH_M + 14_000e3))) - CIRCULAR
    assert rows.total_m_s[rows.cheapest] == pytest.approx(least, abs=WRITTEN_M_S)
    assert rows.burn_now_m_s[rows.cheapest] < 0.0
    assert "falls back 20 deg in 1 revolution of a higher orbit" in flat(answer(line))
    assert asked.question == read(parsed(line.replace("10000x14000km", "14000kmx10000km"))).question


def test_level_and_nothing_to_do() -> None:
    """A slot where the craft arrives takes one burn; on the ring none."""
    text = flat(answer("--around earth --ring 10000km --slot-ahead 360deg --from 190x10000km"))
    assert f"cut off at the ring's period, {clock(RING_S)}. The craft is in its slot at once" in text
    assert "nothing to burn" in answer("--around earth --ring 10000km --slot-behind 0deg")


def test_options_left_out_are_counted_and_can_be_listed() -> None:
    """The short list and --all together account for every option."""
    rows = len(fitting(read(parsed(WORKED)).question))
    (hidden,) = re.findall(r"(\d+) more options fit", flat(answer(WORKED)))
    listed = re.findall(r"^ +\d+ +\d+ +lower", answer(WORKED), re.MULTILINE)
    every = re.findall(r"^ +\d+ +\d+ +(?:lower|higher)", answer(f"{WORKED} --all"), re.MULTILINE)
    assert len(every) == rows == len(listed) + int(hidden)
    assert "more options fit" not in answer(f"{WORKED} --all")


def test_far_options_are_marked() -> None:
    """Around the Moon long waits rise to where the Earth pulls."""
    line = "--around moon --ring 15000km --slot-behind 40deg --revolutions 1"
    assert "past a third of the Hill radius of Moon" in flat(answer(line))
    assert "Hill" not in answer(f"{line} --ceiling 18000km")


def test_apsis_nearly_on_the_ring() -> None:
    """Rounded to the kilometer it still counts as on the ring, and that is said."""
    line = (
        "--gm 398600km3/s2 --radius 6378km --ring-period 5:47:39.7 --slot-ahead 86deg --floor 140km --from 190x10000km"
    )
    radius_m = (398600e9 * (20_859.7 / math.tau) ** 2) ** (1.0 / 3.0)
    off_km = radius_m / 1e3 - 16_378.0
    assert f"was given {off_km:.3f} km below it and is taken as on it" in flat(answer(line))
    assert "is taken as on it" not in answer(line.replace("190x10000km", "190kmxring"))


IMPOSSIBLE = [
    "--around earth --ring 10000km --slot-ahead 100deg --within 4h",
    "--around earth --ring 10000km --slot-ahead 86deg --within 6h --floor 7000km --from 190x10000km",
    "--around earth --ring 10000km --slot-ahead 86deg --revolutions 0",
    "--around earth --ring 10000km --slot-ahead 170deg --within 8h --floor 5000km --ceiling 12000km --revolutions 1",
    "--around earth --ring 10000km --slot-behind 115deg --ceiling 11000km --revolutions 1",
]


@pytest.mark.parametrize("line", IMPOSSIBLE)
def test_no_option_says_what_would_serve(line: str) -> None:
    """Exit status 3; every value named, typed as it is printed, gives an answer."""
    status, text = run(parsed(line), 100)
    assert status == NO_OPTION == 3
    assert "NO PERIOD FITS ALL LIMITS." in text
    offers = [one for one in text.splitlines() if one.startswith("  --")]
    assert offers
    for offer in offers:
        changed = line
        for option, value in re.findall(r"(--\w+) (\S+) instead of", offer):
            changed = re.sub(rf"{option} \S+", "", changed) + f" {option} {value}"
        assert run(parsed(changed), 100)[0] == 0


def test_no_option_judges_a_reached_period_all_the_same() -> None:
    """What was flown was flown."""
    status, text = run(
        parsed("--around earth --ring 10000km --slot-ahead 86deg --within 5h --floor 7000km --got 4:24:00"), 80
    )
    assert status == NO_OPTION
    assert "With 4:24:00.0 at cut-off" in text
    assert "DO NOT STAY ON IT" in flat(text)
    assert "No other period fits the limits." in text


BAD = [
    (WORKED.replace("10000km --slot", "10000 --slot"), "--ring: '10000' has no unit: write 10000m or 10000km."),
    (WORKED.replace("86deg", "86"), "write 86deg or 86rad"),
    (WORKED.replace("3d", "3"), "write 3s, 3min, 3h or 3d"),
    (WORKED.replace("190x10000km", "190x10000"), "write 190x10000km or 190x10000m"),
    (WORKED.replace("10000km --slot", "10000mi --slot"), "in 'mi', which is not a unit of length here"),
    (WORKED.replace("3d", "3km"), "not a unit of time here: write it in s, min, h or d"),
    (WORKED.replace("10000km --slot", "tall --slot"), "'tall' is not a length"),
    (WORKED.replace("10000km --slot", "1e999km --slot"), "too large"),
    (WORKED.replace("10000km --slot", "1e308km --slot"), "too large"),
    (WORKED.replace("10000km --slot", "-10km --slot"), "inside the body"),
    (WORKED.replace("10000km --slot", "80km --slot"), "inside the atmosphere"),
    (WORKED.replace("10000km --slot", "42164km --slot"), "for that ring write --ring 35785.86km"),
    (WORKED.replace("earth", "vulcan"), "no built-in body 'vulcan'"),
    (WORKED.replace("--around earth", ""), "add --around earth, or --gm"),
    (WORKED + " --gm 1km3/s2", "--around earth and --gm both say"),
    (WORKED.replace("--around earth", "--gm 398600km3/s2"), "--gm needs --radius"),
    (WORKED.replace("--around earth", "--radius 6378km"), "--radius needs --gm"),
    (WORKED.replace("--around earth", "--gm 0km3/s2 --radius 6378km"), "not above zero"),
    (WORKED.replace("--around earth", "--gm 5e-324km3/s2 --radius 6378km"), "too small: at least 1e-15 km^3/s^2"),
    (WORKED.replace("--around earth", "--gm 398600km3/s2 --radius 1e99km"), "at most 10 000 000 000 km would"),
    (WORKED.replace("--around earth", "--gm 398600km --radius 6378km"), "not a unit of gravitational parameter"),
    (WORKED + " --ring-period 5:00:00", "give --ring or --ring-period"),
    (WORKED.replace("--ring 10000km", ""), "add --ring 10000km, or --ring-period"),
    (WORKED.replace("--ring 10000km", "--ring-period 5:47"), 'write "5:47:00" or "0:05:47"'),
    (WORKED.replace("--slot-ahead 86deg", ""), "add --slot-ahead 86deg, or --slot-behind"),
    (WORKED + " --slot-behind 4deg", "both ahead and behind"),
    (WORKED.replace("86deg", "860deg"), "more than a whole turn"),
    (WORKED.replace("190x10000km", "190x9000km"), "has no apsis on the ring, which is at 10 000 km"),
    (WORKED.replace("190x10000km", "9000km"), "is a circle that is not the ring"),
    (WORKED.replace("190x10000km", "-7000x10000km"), "at or below the center"),
    (WORKED.replace("190x10000km", "190x1000x10000km"), "is no orbit"),
    (WORKED.replace("190x10000km", "x10000km"), "is no orbit"),
    (WORKED.replace("140km", "60km"), "is in the atmosphere of Earth: 120 km or more"),
    (WORKED.replace("140km", "-60km"), "is below the surface"),
    (WORKED.replace("140km", "11000km"), "is above the ring"),
    (WORKED + " --ceiling 9000km", "is below the ring"),
    (WORKED + " --revolutions 2.5", "whole number, 0 to 200"),
    (WORKED + " --revolutions -1", "whole number, 0 to 200"),
    (WORKED.replace("3d", "0d"), "not above zero"),
    (WORKED + " --got 1:30:00", "no orbit that touches the ring has a period of 1:30:00"),
    (WORKED + " --got 5:20", 'write "5:20:00" or "0:05:20"'),
    (WORKED + " --tolerance 200deg", "more than half a turn"),
    (WORKED + " --tolerance 0deg", "not above zero"),
]


@pytest.mark.parametrize(("line", "said"), BAD)
def test_bad_input_is_refused_with_a_remedy(line: str, said: str) -> None:
    """Each says which option, the value, and what would be accepted."""
    with pytest.raises(InputError) as caught:
        run(parsed(line), 80)
    assert said in str(caught.value)
    assert caught.value.where.startswith("--") or "vulcan" in said
    assert str(caught.value).endswith(".")


def test_quantities_as_typed() -> None:
    """Units, spaces, clock times, and apsides that share a unit or name the ring."""
    assert quantity("10000km", "length", "") == quantity(" 1e7 m ", "length", "") == 1e7
    assert quantity("180deg", "angle", "") == quantity("3.141592653589793rad", "angle", "")
    assert quantity("90min", "time", "") == quantity("1.5h", "time", "") == quantity("1:30:00", "time", "") == 5400.0
    assert quantity("398600.5km3/s2", "gm", "") == quantity("398600.5 km^3/s^2", "gm", "") == 398600.5e9
    assert apsides("190x10000km", "") == apsides("190km x 1e7m", "") == (190e3, 1e7)
    assert apsides("190kmxring", "") == (190e3, None)
    assert apsides("ringx14000km", "") == (None, 14_000e3)


SAVED = {
    "on the ring": "--around earth --ring 10000km --slot-ahead 60deg --within 9h",
    "a coast": "--around earth --ring 10000km --slot-ahead 86deg --from -400x10000km --within 30h",
    "from above": "--around mars --ring 6000km --slot-behind 20deg --from ringx9000km --within 40h --ceiling 9000km",
    "own world": (
        "--gm 398600km3/s2 --radius 6378km --ring-period 5:47:39.7 --slot-behind 40deg --floor 200km --revolutions 3"
    ),
}


@pytest.mark.parametrize("name", SAVED)
def test_saved_scenario_plans_to_the_same(name: str, tmp_path: Path) -> None:
    """Read back, planned and flown: delta-v, period and time of the cheapest option."""
    file = tmp_path / "question.toml"
    line = SAVED[name]
    assert f"Written: {file}" in answer(f"{line} --save {file}", 200)
    asked = read(parsed(line))
    scenario = read_scenario(file)
    question = asked.question
    assert scenario.ring.radius_m == pytest.approx(question.ring_radius_m, abs=MILLIMETER_M)
    assert scenario.ring.slot0_rad == pytest.approx(question.lead_rad, abs=LAST_BIT_RAD)
    assert scenario.floor_m == pytest.approx(question.floor_m, abs=MILLIMETER_M)
    assert scenario.limits.wait_within_s == question.within_s
    assert scenario.limits.revolutions_max == question.revolutions_max
    assert scenario.limits.apoapsis_max_m == pytest.approx(question.ceiling_m, abs=MILLIMETER_M)
    (craft,) = scenario.craft
    assert craft.orbit is not None
    assert sorted((craft.orbit.periapsis_m, craft.orbit.apoapsis_m)) == pytest.approx(
        sorted((question.other_m, question.ring_radius_m)), abs=MILLIMETER_M
    )
    assert tomllib.loads(file.read_text())["body"]["name"] in ("earth", "mars", OWN_WORLD)
    # the question leaves oblateness out, a plan does not
    outcome = make_plan(read_scenario(file, ["body.j2=0"]))
    plan = outcome.plans[0]
    rows = fitting(question)
    assert plan.delta_v_m_s == pytest.approx(rows.total_m_s[rows.cheapest], abs=WRITTEN_M_S)
    assert plan.craft[0].phasing_period_s == pytest.approx(rows.period_s[rows.cheapest], abs=WRITTEN_S)
    assert plan.craft[0].in_slot_s == pytest.approx(rows.wait_s[rows.cheapest], abs=SUMMED_S)
    assert plan.craft[0].lead_rad == pytest.approx(question.lead_rad, abs=FLOAT_RAD)
    assert not plan.broken
    # and one tolerance of the burn: the sheet's, by differences through the flight, and the closed form
    part = plan.craft[0]
    index = part.phasing_burn
    assert index is not None
    flown = sensitivities(part, outcome.ring, gravity_around(scenario.body))[index].per_period_s
    assert flown == pytest.approx(-rows.slot_rad_per_s[rows.cheapest], rel=TWO_SQUARED_REL)
    shown = re.search(r"tolerance allow (\S+) s either way of", flat(answer(line)))
    assert shown is not None
    (sheet,) = sheets(outcome, plan)
    assert f"tolerance allow {shown.group(1)} s of period at cut-off" in " ".join(sheet.blocks[index + 1].remarks)


def test_saving_never_overwrites(tmp_path: Path) -> None:
    """An existing file stays as it is; a place that cannot be written is bad input, and nothing is left behind."""
    file = tmp_path / "question.toml"
    file.write_text("mine")
    with pytest.raises(InputError, match="exists already"):
        run(parsed(f"{WORKED} --save {file}"), 80)
    assert file.read_text() == "mine"
    dangling = tmp_path / "dangling.toml"
    dangling.symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(InputError, match="exists already"):
        run(parsed(f"{WORKED} --save {dangling}"), 80)
    with pytest.raises(InputError, match="cannot write"):
        run(parsed(f"{WORKED} --save {tmp_path / 'nowhere' / 'a.toml'}"), 80)
    with pytest.raises(InputError):
        run(parsed(f"{WORKED} --got 1:00:00 --save {tmp_path / 'b.toml'}"), 80)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["dangling.toml", "question.toml"]


def test_a_question_without_an_answer_can_be_saved(tmp_path: Path) -> None:
    """The planner then says the same: the limit on time binds."""
    file = tmp_path / "question.toml"
    status, text = run(parsed(f"{IMPOSSIBLE[0]} --save {file}"), 200)
    assert status == NO_OPTION
    assert f"Written: {file}" in text
    outcome = outcome_of(read_scenario(file))
    assert outcome.infeasible is not None
    (bind,) = outcome.infeasible.binds
    assert bind.limit == "limits.wait_within"
    assert bind.serves is not None
    # the planner rounds up to what is short to type
    assert 1.0 <= bind.serves / (260.0 / 360.0 * RING_S) < 1.01


def test_options_load_nothing_heavy() -> None:
    """The help of the command needs neither NumPy nor the planner."""
    code = (
        "import argparse, sys; from ringwright.reports.period.command import add_arguments; "
        "p = argparse.ArgumentParser(); add_arguments(p); p.format_help(); "
        "print(sorted({'numpy', 'scipy', 'pulp'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
