"""Where a period that was read at cut-off leads, and which stop to go to next."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ...models.readouts import clock, plain, span
from ...optimizer.period import (
    Drift,
    Periods,
    Question,
    drift,
    fitting,
    free_rows,
    least_left_m_s,
    reached,
    within_radii,
)
from ..layout import figures, note, table, words
from ..wording import count, small
from .question import Asked
from .words import (
    WORTH_M_S,
    after,
    altitude_km,
    reached_title,
    signed_burn,
    tolerance,
    underlined,
)

DRIFTS_SHOWN = 12
"""Revolutions of a reached period that are listed one by one."""

AT_THE_TOUCH = (
    "Craft against slot as the craft touches the ring; the burn there, at that moment, then ends at the ring's period."
)
"""What the errors of a period that was read stand for: the later burn is planned again by it."""

STOPS_SHOWN = 6
"""Further stops that are listed after a reached period."""


def _off_words(error_rad: float) -> str:
    """Where the craft is against its slot, as said after "the craft is"."""
    degrees = math.degrees(error_rad)
    if abs(degrees) < 5e-5:
        return "in its slot"
    size = small(abs(degrees)) if abs(degrees) < 1.0 else plain(abs(degrees), 2)
    return f"{size} deg {'ahead' if degrees > 0 else 'behind'}"


def reached_lines(asked: Asked, rows: Periods, width: int) -> list[str]:
    """Where the craft comes to be with a period that was read, and where to go from it."""
    if asked.got_s is None:
        return []
    got_s, question = asked.got_s, asked.question
    here = reached(question, got_s)
    sound = within_radii(here, here.other_m)
    lines = ["", *underlined(reached_title(got_s))]
    apsis = f"Its other apsis is at {altitude_km(asked, here.other_m)} km"
    if not sound:
        side = "below the lowest" if here.other_m < question.floor_m else "above the highest"
        lines += note(f"{apsis}, {side.upper()} ALTITUDE ALLOWED: DO NOT STAY ON IT.", width)
    else:
        lines += note(f"{apsis}.", width)
    course = drift(here, got_s)
    lines += course_lines(asked, course, sound, width)
    return lines + _next_stop(asked, rows, _stays(asked, course, sound), width)


def course_lines(asked: Asked, course: Drift, sound: bool, width: int) -> list[str]:
    """Where the craft is against its slot after each revolution; ``sound``: whether the orbit keeps the limits."""
    if not course.revolutions.size:
        return note("Not even one revolution of it ends within the limits.", width)
    shown = list(range(min(DRIFTS_SHOWN, int(course.revolutions.size))))
    if course.closest not in shown:
        shown.append(course.closest)
    near = {row: "within the tolerance" for row in shown if abs(course.error_rad[row]) <= asked.tolerance_rad}
    near[course.closest] = "closest"
    filled = [
        figures("after revolutions", cells=[str(course.revolutions[row]) for row in shown]),
        figures("time", cells=[span(float(course.time_s[row])) for row in shown]),
        words("the craft is", [_off_words(float(course.error_rad[row])) for row in shown]),
        words("", [near.get(row, "") for row in shown]),
    ]
    lines = [*table(filled, width), *note(AT_THE_TOUCH, width)]
    return lines + note(_stay_text(asked, course, sound), width)


def _stays(asked: Asked, course: Drift, sound: bool) -> bool:
    """Whether the reached period can be left as it is."""
    return (
        sound and bool(course.revolutions.size) and abs(float(course.error_rad[course.closest])) <= asked.tolerance_rad
    )


def _stay_text(asked: Asked, course: Drift, sound: bool) -> str:
    """When it comes closest, and whether it can be left so."""
    closest = course.closest
    turns = count(int(course.revolutions[closest]), "revolution")
    text = f"It comes closest after {turns}: the craft is then {_off_words(float(course.error_rad[closest]))}"
    if _stays(asked, course, sound):
        return f"{text}, within the {tolerance(asked)} of tolerance: it can be left as it is."
    return (
        f"{text}, more than the {tolerance(asked)} of tolerance." if sound else f"{text}, but the orbit breaks a limit."
    )


def _next_stop(asked: Asked, rows: Periods, stays: bool, width: int) -> list[str]:
    assert asked.got_s is not None
    here = reached(asked.question, asked.got_s)
    stops = fitting(here)
    new = other_stops(asked, here, stops)
    if not new.any():
        return note("No other period fits the limits.", width)
    begin = "If it goes on, the next stop is" if stays else "NEXT STOP:"
    free = np.flatnonzero(free_rows(here, stops) & new)
    if free.size:
        best = int(free[0])
        nearest = int(free[np.argmin(np.abs(stops.burn_now_m_s[free]))])
        text = f"{begin} {_stop_text(stops, best)} It costs nothing more than going to the ring at once."
    else:
        fresh = np.flatnonzero(new)
        best = nearest = int(fresh[np.argmin(stops.total_m_s[fresh])])
        more = plain(float(stops.total_m_s[best]) - least_left_m_s(here))
        text = (
            f"No stop on the way to the ring fits. {begin} {_stop_text(stops, best)} It costs {more} m/s more than "
            "going to the ring at once would."
        )
    lines = note(text, width)
    if nearest != best:
        way = "up" if stops.period_s[nearest] > asked.got_s else "down"
        lines += note(f"The next one {way} that fits is {_stop_text(stops, nearest)}", width)
    spent = abs(here.arrival_speed_m_s - asked.question.arrival_speed_m_s)
    lines += _in_all(rows, spent, float(stops.total_m_s[best]), width)
    shown = sorted({best, nearest, *[int(row) for row in np.flatnonzero(stops.unbeaten & new)][: STOPS_SHOWN - 2]})
    return lines + _stop_table(stops, shown, least_left_m_s(here), width)


def other_stops(asked: Asked, here: Question, stops: Periods) -> NDArray[np.bool_]:
    """Mask of the stops that the period read does not meet within the tolerance, as the craft touches the ring."""
    assert asked.got_s is not None
    late = np.abs(stops.period_s - asked.got_s) * np.maximum(stops.revolutions, 1)
    return np.asarray(late * here.ring.rate_rad_s > asked.tolerance_rad)


def _stop_text(stops: Periods, row: int) -> str:
    period, burn = clock(float(stops.period_s[row])), signed_burn(float(stops.burn_now_m_s[row]))
    how = "less than 0.05 m/s" if burn == "0" else f"{burn.replace(' ', ' m/s ')}"
    if stops.revolutions[row] == 0:
        return f"the ring's period, {period} ({how}): the slot is there."
    return (
        f"{period} ({how}), {count(int(stops.revolutions[row]), 'revolution')}, in the slot after "
        f"{span(float(stops.wait_s[row]))}."
    )


def _in_all(rows: Periods, spent_m_s: float, left_m_s: float, width: int) -> list[str]:
    whole = spent_m_s + left_m_s
    text = f"With the {plain(spent_m_s)} m/s burned so far that makes {plain(whole)} m/s in all"
    if len(rows):
        more = whole - float(rows.total_m_s[rows.cheapest])
        text += ", as much as the cheapest option" if abs(more) < WORTH_M_S else ""
        text += f", {plain(more)} m/s more than the cheapest option" if more >= WORTH_M_S else ""
    return note(f"{text}.", width)


def _stop_table(stops: Periods, shown: Sequence[int], least_m_s: float, width: int) -> list[str]:
    if len(shown) < 2:
        return []
    later = [signed_burn(float(stops.burn_later_m_s[row])) if stops.revolutions[row] > 0 else "-" for row in shown]
    more = [float(stops.total_m_s[row]) - least_m_s for row in shown]
    filled = [
        figures("next stop", cells=[clock(float(stops.period_s[row])) for row in shown]),
        figures("revo-", "lutions", cells=[str(stops.revolutions[row]) for row in shown]),
        figures("burn on", "m/s", cells=[signed_burn(float(stops.burn_now_m_s[row])) for row in shown]),
        figures("burn later", "m/s", cells=later),
        figures("costs more", "m/s", cells=["nothing" if extra < WORTH_M_S else plain(extra) for extra in more]),
        figures("in slot", "after", cells=[after(stops, row) for row in shown]),
    ]
    return ["", *table(filled, width)]
