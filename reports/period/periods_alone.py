"""The one-craft question with a ring period and no body: what periods alone answer.

Revolutions, periods, times and how exact a period must be follow from the ring's period; delta-v and clearance do not,
and are not judged.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence

import numpy as np

from ...models.errors import InputError
from ...models.frames import wrap
from ...models.readouts import brief, clock, span
from ...models.scenario import Body
from ...optimizer.period import TIE_S, Periods, Question, drift, fitting, free_rows, reached
from ..layout import closed, figures, heading, note, paragraph, table, words
from ..remarks import CAUTION
from ..wording import count, small
from .question import OWN_WORLD, Asked, asked_of, lead_rad, positive, revolutions_max, within_s
from .reached import AT_THE_TOUCH, drift_table, other_stops, stay_lines
from .words import after, reached_title, tolerance

NEED_BODY = (
    ("ring", "--ring"),
    ("arrival", "--from"),
    ("floor", "--floor"),
    ("ceiling", "--ceiling"),
    ("save", "--save"),
)
"""Options that say nothing without a body."""

ROWS_SHOWN = 12
"""Options listed unless all are asked for."""


def without_body(arguments: argparse.Namespace) -> bool:
    """Whether a ring period was typed, and nothing about what the ring goes round."""
    return arguments.ring_period is not None and arguments.around is arguments.gm is arguments.radius is None


def read_alone(arguments: argparse.Namespace) -> Asked:
    """Read the options of a question without a body, in units of the ring's radius.

    Raises:
        InputError: an option that cannot be used, or that needs a body.
    """
    for name, option in NEED_BODY:
        if getattr(arguments, name) is not None:
            raise InputError(
                "without a body altitudes say nothing: add --around earth, or --gm 398600km3/s2 --radius 6378km, or "
                "leave it out.",
                where=option,
            )
    period_s = positive(arguments.ring_period, "time", "--ring-period")
    gm = (2.0 * math.pi / period_s) ** 2
    question = Question(
        gm=gm,
        ring_radius_m=1.0,
        lead_rad=float(wrap(lead_rad(arguments))),
        other_m=1.0,
        floor_m=0.0,
        revolutions_max=revolutions_max(arguments),
        within_s=within_s(arguments),
    )
    body = Body(name=OWN_WORLD, gm=gm, radius_m=1.0, source="the command line")
    return asked_of(arguments, question, body, ring_period_s=period_s)


def alone_text(asked: Asked, rows: Periods, width: int) -> str:
    """Set the answer, with rows or without."""
    question = asked.question
    degrees = math.degrees(question.lead_rad)
    where = f"{small(abs(degrees)) if abs(degrees) < 1.0 else f'{abs(degrees):g}'} deg"
    side = "ahead of" if degrees > 0.0 else "behind"
    lines = paragraph(
        f"Ring with a period of {clock(question.ring.period_s)}. The craft is on the ring; when it burns there, the "
        f"slot is {f'{where} {side} the craft' if degrees else 'where the craft is'}.",
        width,
    )
    limits = [f"at most {count(question.revolutions_max, 'revolution')}"]
    limits += [f"in the slot within {span(question.within_s)}"] if math.isfinite(question.within_s) else []
    lines += paragraph(f"Limits: {'; '.join(limits)}.", width)
    lines += [
        "",
        *paragraph(
            "JUDGED BY PERIODS ALONE: without a body neither delta-v nor clearance is judged. A period well below the "
            "ring's may lead through the air or the ground; --around, or --gm and --radius, judges both.",
            width,
        ),
    ]
    if len(rows):
        lines += _table(asked, rows, width)
    else:
        lines += ["", *paragraph("NO PERIOD FITS THE LIMITS: allow more --revolutions, or more time --within.", width)]
    return closed([*lines, *_reached(asked, width)], CAUTION, width)


def _table(asked: Asked, rows: Periods, width: int) -> list[str]:
    shown = _shown(asked, rows)
    phased = [rows.revolutions[row] > 0 for row in shown]
    exact = [asked.tolerance_rad / (abs(float(rows.slot_rad_per_s[row])) or 1.0) for row in shown]
    slope = [math.degrees(float(rows.slot_rad_per_s[row])) for row in shown]
    filled = [
        figures("revo-", "lutions", cells=[str(rows.revolutions[row]) for row in shown]),
        words("orbit", [_side(rows, row) for row in shown], wraps=True),
        figures("period at", "cut-off", cells=[clock(float(rows.period_s[row])) for row in shown]),
        figures("in slot", "after", cells=[after(rows, row) for row in shown]),
        figures(
            "slot deg", "per s of", "period", cells=[small(s) if p else "-" for s, p in zip(slope, phased, strict=True)]
        ),
        figures(
            "s allowed",
            "for",
            tolerance(asked),
            cells=[small(e) if p else "-" for e, p in zip(exact, phased, strict=True)],
        ),
    ]
    lines = [*heading("The options, by time", width), *table(filled, width)]
    lines += note("Slot as the mean of the first turn after the later burn, which is made as planned.", width)
    hidden = len(rows) - len(shown)
    if hidden:
        lines += note(
            f"{count(hidden, 'more option fits', 'more options fit')}, at the same times with a period farther from "
            "the ring's, or later: --all lists them.",
            width,
        )
    return lines


def _side(rows: Periods, row: int) -> str:
    if rows.revolutions[row] == 0:
        return "the ring's"
    gained = math.degrees(float(rows.gained_rad[row]))
    return f"{'lower, gains' if gained > 0.0 else 'higher, falls back'} {brief(abs(gained), 5)} deg"


def _shown(asked: Asked, rows: Periods) -> Sequence[int]:
    """At each time the period that is nearest to the ring's, the soonest first; all where that was asked for."""
    if asked.every:
        return range(len(rows))
    off = np.abs(rows.period_s - asked.question.ring.period_s)
    nearest = [
        row for row in range(len(rows)) if off[row] <= off[np.abs(rows.wait_s - rows.wait_s[row]) <= TIE_S].min()
    ]
    return nearest[:ROWS_SHOWN]


def _reached(asked: Asked, width: int) -> list[str]:
    """Where the craft comes to be with a period that was read, and which one to go on to."""
    if asked.got_s is None:
        return []
    here = reached(asked.question, asked.got_s)
    lines = heading(reached_title(asked.got_s), width)
    course = drift(here, asked.got_s)
    if course.revolutions.size:
        lines += drift_table(asked, course, width)
        lines += note(AT_THE_TOUCH, width)
        lines += stay_lines(asked, course, True, width)
    else:
        lines += note("Not even one revolution of it ends within the limits.", width)
    stops = fitting(here)
    ahead = np.flatnonzero(other_stops(asked, here, stops) & free_rows(here, stops))
    if not ahead.size:
        return [*lines, *note("No stop on the way back to the ring's period fits.", width)]
    first = int(ahead[0])
    turns = count(int(stops.revolutions[first]), "revolution")
    when = f"{turns}, in the slot after {span(float(stops.wait_s[first]))}" if stops.revolutions[first] else "at once"
    return [
        *lines,
        *note(
            f"The soonest stop on the way back to the ring's period: {clock(float(stops.period_s[first]))} ({when}).",
            width,
        ),
    ]
