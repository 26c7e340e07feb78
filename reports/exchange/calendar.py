"""Liftoffs, burns and looks of a plan as a calendar (iCalendar, RFC 5545), in UTC.

Times of a calendar are whole seconds: an event begins at the second nearest to its moment, as the console prints it,
and its text says the moment to a tenth. Identifiers are made of title, craft and kind of event, so that a later plan of
the same scenario takes the place of an earlier one when it is imported again.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from ... import __version__
from ...models.errors import InputError
from ...models.printable import printable
from ...models.readouts import clock, instant, plain
from ...models.scenario import Scenario
from ...optimizer.craft_plan import Burn, CarrierPlan, CraftPlan
from ...optimizer.one_plan import plan_of_rank
from ...optimizer.outcome import Outcome
from ..burn_table import burn_words
from ..files import write_bytes
from ..remarks import CAUTION
from ..sheet.sheet import look_at_s
from .orbit_message import created

LINE_OCTETS = 75
"""Longest line before it is folded (RFC 5545, section 3.1)."""

FAMILY = uuid.uuid5(uuid.NAMESPACE_URL, "https://www.rfc-editor.org/rfc/rfc5545#ringwright")
"""The space that identifiers of events are made in."""


class Event(NamedTuple):
    """One entry: who, what kind with its number, from and until, s from the epoch, a line and what else to say."""

    who: str
    kind: str
    from_s: float
    until_s: float
    summary: str
    description: tuple[str, ...]


def needs_epoch(scenario: Scenario) -> None:
    """Raise InputError for a scenario whose times are no dates."""
    if scenario.epoch is None:
        raise InputError(
            "--calendar needs dates, but the scenario has no epoch: add epoch = 2031-05-01T00:00:00Z, or the date that "
            "its times count from.",
            where=scenario.source.file or "scenario",
        )


def write_calendar(outcome: Outcome, path: str | Path, rank: int | None = None) -> Path:
    """Write the calendar of a plan, the best one without a rank. Raises InputError as :func:`calendar_text`."""
    return write_bytes(path, calendar_text(outcome, rank).encode("utf-8"))


def calendar_text(outcome: Outcome, rank: int | None = None) -> str:
    """The calendar of a plan as text, its lines ended as the standard has it.

    Raises:
        InputError: the scenario has no epoch, or there is no plan of that rank.
    """
    scenario = outcome.scenario
    needs_epoch(scenario)
    plan = plan_of_rank(outcome, rank)
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:-//Ringwright//Ringwright {__version__}//EN",
        "CALSCALE:GREGORIAN",
    ]
    # name and description of a calendar: RFC 7986
    lines += [f"NAME:{escaped(scenario.title)}", f"DESCRIPTION:{escaped(CAUTION)}"]
    stamp, last = _stamp(created()), [f"Plan {plan.rank} of {scenario.title}.", "A planning aid, not flight software."]
    if plan.broken:
        last.insert(0, "THIS PLAN BREAKS A LIMIT: DO NOT FLY IT AS IT IS.")
    for event in sorted(events(outcome, rank), key=lambda one: one.from_s):
        lines += _event_lines(scenario, event, stamp, last)
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines)


def events(outcome: Outcome, rank: int | None = None) -> list[Event]:
    """What happens in a plan: liftoffs with their ascents, burns, drops from carriers, and looks afterwards."""
    plan = plan_of_rank(outcome, rank)
    found: list[Event] = []
    for part in plan.craft:
        if part.launch_s is not None and part.carrier is None:
            found.append(_liftoff(outcome, part.craft, part.pad or "", part.launch_s, part.insertion_s, part))
        found += _burns(outcome, part.craft, part.burns)
        if part.burns or part.launch_s is not None:
            found.append(_look(outcome, part))
    for carrier in plan.carriers:
        found.append(_liftoff(outcome, carrier.carrier, carrier.pad, carrier.launch_s, carrier.insertion_s, None))
        found += _burns(outcome, carrier.carrier, carrier.burns)
        found += _drops(outcome, carrier)
    return found


def _liftoff(
    outcome: Outcome, who: str, pad: str, launch_s: float, insertion_s: float | None, part: CraftPlan | None
) -> Event:
    epoch = outcome.scenario.epoch
    said = [f"Liftoff at {instant(epoch, launch_s, 1)}."]
    if part is not None and part.azimuth_rad is not None:
        said.append(f"Azimuth {plain(math.degrees(part.azimuth_rad), 3)} deg, inertial.")
    if insertion_s is not None:
        said.append(f"Insertion at {instant(epoch, insertion_s, 1)}.")
    until = launch_s if insertion_s is None else insertion_s
    return Event(who, "liftoff 1", launch_s, until, f"{who}: liftoff from {pad}", tuple(said))


def _burns(outcome: Outcome, who: str, burns: Sequence[Burn]) -> Iterator[Event]:
    epoch, radius_m = outcome.scenario.epoch, outcome.scenario.body.radius_m
    for number, burn in enumerate(burns, start=1):
        half = 0.5 * (burn.duration_s or 0.0)
        low, high = ((one - radius_m) * 1e-3 for one in (burn.periapsis_after_m, burn.apoapsis_after_m))
        said = [f"{burn_words(burn)}, at {instant(epoch, burn.time_s, 1)}."]
        if half:
            said.append(f"{burn.duration_s:.1f} s long, half of it before that moment.")
        said.append(f"Period at cut-off {clock(burn.period_after_s)}; low {plain(low)} km, high {plain(high)} km.")
        if burn.propellant_after_kg is not None:
            said.append(f"{plain(burn.propellant_after_kg, 2)} kg of propellant left then.")
        summary = f"{who}: burn {number} of {len(burns)}, {burn_words(burn)}"
        yield Event(who, f"burn {number}", burn.time_s - half, burn.time_s + half, summary, tuple(said))


def _look(outcome: Outcome, part: CraftPlan) -> Event:
    look_s = look_at_s(part, outcome.ring)
    period = clock(outcome.ring.period_s + part.flown.period_error_s)
    said = f"In slot {part.slot} since {instant(outcome.scenario.epoch, part.in_slot_s)}. Mean period then {period}."
    return Event(part.craft, "look 1", look_s, look_s, f"{part.craft}: look at its place", (said,))


def _drops(outcome: Outcome, carrier: CarrierPlan) -> Iterator[Event]:
    for drop in carrier.drops:
        said = f"Dropped at {instant(outcome.scenario.epoch, drop.time_s, 1)}, pass {drop.number}."
        summary = f"{carrier.carrier}: drop {drop.craft}"
        yield Event(carrier.carrier, f"drop of {drop.craft}", drop.time_s, drop.time_s, summary, (said,))


def _event_lines(scenario: Scenario, event: Event, stamp: str, last: Sequence[str]) -> list[str]:
    epoch = scenario.epoch
    if epoch is None:
        raise ValueError("a calendar needs an epoch")
    begin, end = (_second(epoch, time_s) for time_s in (event.from_s, event.until_s))
    uid = uuid.uuid5(FAMILY, "\0".join((scenario.title, event.who, event.kind)))
    lines = ["BEGIN:VEVENT", f"UID:{uid}", f"DTSTAMP:{stamp}", f"DTSTART:{_stamp(begin)}"]
    if end > begin:
        lines.append(f"DTEND:{_stamp(end)}")
    lines.append(f"SUMMARY:{escaped(event.summary)}")
    lines.append(f"DESCRIPTION:{escaped(' '.join(event.description))}\\n{escaped(' '.join(last))}")
    return [*lines, "TRANSP:OPAQUE", "END:VEVENT"]


def _second(epoch: datetime, time_s: float) -> datetime:
    """The second nearest to a moment."""
    return epoch.astimezone(UTC) + timedelta(seconds=round(time_s))


def _stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def escaped(text: str) -> str:
    """A text as a value: backslash, semicolon and comma behind a backslash (RFC 5545, section 3.3.11).

    >>> print(escaped("a;b,c \\\\ d"))
    a\\;b\\,c \\\\ d
    """
    plain_text = printable(text)
    return "".join(f"\\{one}" if one in "\\;," else one for one in plain_text)


def folded(line: str) -> str:
    """A line in parts of at most 75 octets, no character cut in two; each later part begins with a space.

    >>> [len(part.encode()) for part in folded("x" * 160).split("\\r\\n")]
    [75, 75, 12]
    """
    parts: list[str] = []
    part, octets = "", 0
    for one in line:
        size = len(one.encode("utf-8"))
        if octets + size > LINE_OCTETS:
            parts.append(part)
            part, octets = " ", 1
        part += one
        octets += size
    return "\r\n".join([*parts, part])
