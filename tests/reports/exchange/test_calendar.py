"""The calendar, read by the library ``icalendar`` (RFC 5545)."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import icalendar
import pytest

from ringwright.models.errors import InputError
from ringwright.models.printable import printable
from ringwright.optimizer.outcome import Outcome
from ringwright.reports.exchange.calendar import calendar_text
from ringwright.tests.reports.exchange.messages import (
    CARRIER,
    EARTH,
    ENGINE,
    EPOCH,
    GROUND,
    MARS,
    best,
    planned,
    renamed,
)
from ringwright.tests.reports.exchange.test_orbit_messages import HOSTILE


def events(outcome: Outcome) -> list[Any]:
    calendar = icalendar.Calendar.from_ical(calendar_text(outcome))
    assert not calendar.errors
    assert all(not event.errors for event in calendar.walk("VEVENT"))
    return list(calendar.walk("VEVENT"))


def test_events_are_the_liftoff_the_burns_and_the_look() -> None:
    outcome = planned(GROUND)
    [part] = best(outcome).craft
    found = events(outcome)
    assert [str(one["SUMMARY"]).split(",")[0] for one in found] == [
        "Teal: liftoff from pad",
        "Teal: burn 1 of 1",
        "Teal: look at its place",
    ]
    assert part.launch_s is not None
    assert part.insertion_s is not None
    starts = [one["DTSTART"].dt for one in found]
    moments = [part.launch_s, part.burns[0].time_s, part.in_slot_s + outcome.ring.period_s]
    assert starts == [EPOCH + timedelta(seconds=round(moment)) for moment in moments]
    assert found[0]["DTEND"].dt == EPOCH + timedelta(seconds=round(part.insertion_s))
    assert all(start.utcoffset() == timedelta(0) for start in starts)
    for one in found:
        assert isinstance(one["DTSTAMP"].dt, datetime)
        assert "Plan 1 of Up from the equator." in str(one["DESCRIPTION"])


def test_a_burn_lasts_as_long_as_it_burns() -> None:
    outcome = planned(ENGINE)
    [part] = best(outcome).craft
    first = events(outcome)[0]
    assert part.burns[0].duration_s is not None
    middle, half = part.burns[0].time_s, 0.5 * part.burns[0].duration_s
    assert first["DTSTART"].dt == EPOCH + timedelta(seconds=round(middle - half))
    assert first["DTEND"].dt == EPOCH + timedelta(seconds=round(middle + half))


def test_a_carrier_lifts_off_and_drops_its_craft() -> None:
    found = [str(one["SUMMARY"]).split(",")[0] for one in events(planned(CARRIER))]
    assert found[0] == "Pannier: liftoff from pad"
    assert {"Pannier: drop Teal", "Pannier: drop Coot", "Teal: look at its place"} <= set(found)
    assert not any(one.startswith("Teal: liftoff") for one in found)


def test_identifiers_are_stable_and_different() -> None:
    outcome = planned(EARTH)
    first = [str(one["UID"]) for one in events(outcome)]
    assert len(set(first)) == len(first)
    # a later plan of the same scenario takes the place of this one
    plan = best(outcome)
    part = replace(plan.craft[0], burns=tuple(replace(b, time_s=b.time_s + 600.0) for b in plan.craft[0].burns))
    moved = replace(outcome, plans=(replace(plan, craft=(part,)),))
    assert [str(one["UID"]) for one in events(moved)] == first
    other = [str(one["UID"]) for one in events(renamed(outcome, "Ochre"))]
    assert not set(other) & set(first)


def test_times_are_utc_whatever_the_offset_of_the_epoch() -> None:
    outcome = planned(EARTH)
    shifted = EPOCH.astimezone(datetime.fromisoformat("2031-05-01T08:00:00+02:00").tzinfo)
    other = replace(outcome, scenario=replace(outcome.scenario, epoch=shifted))
    assert [one["DTSTART"].dt for one in events(other)] == [one["DTSTART"].dt for one in events(outcome)]
    assert all(one["DTSTART"].dt.tzinfo == UTC or one["DTSTART"].dt.utcoffset() is not None for one in events(other))


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_text(name: str) -> None:
    outcome = renamed(planned(EARTH), HOSTILE[name])
    text = calendar_text(outcome)
    lines = text.split("\r\n")
    assert "\n" not in "".join(lines)
    assert max(len(line.encode("utf-8")) for line in lines) <= 75
    assert all(one.isprintable() for one in "".join(lines))
    found, plain = events(outcome), events(planned(EARTH))
    assert len(found) == len(plain)
    for one, other in zip(found, plain, strict=True):
        assert set(one) == set(other)
        assert str(one["SUMMARY"]) == str(other["SUMMARY"]).replace("Umber", printable(HOSTILE[name]), 1)


def test_without_an_epoch_there_is_no_calendar() -> None:
    with pytest.raises(InputError, match="add epoch"):
        calendar_text(planned(MARS.replace("epoch = 2031-05-01T06:00:00Z\n", "")))
