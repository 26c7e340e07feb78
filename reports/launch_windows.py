"""When sites that pass through the ring plane may launch: the windows of a scenario, for a reader.

Geometry only: which of them a plan takes is the planner's choice.
"""

from __future__ import annotations

import math

from ..models.launch import ascent
from ..models.opportunities import IN_PLANE_RAD, Window, always_in_plane, turn_s, windows_of
from ..models.readouts import brief, instant, plain
from ..models.ring import Ring
from ..models.scenario import Pad, Scenario
from ..models.site_and_plane import SiteAndPlane
from ..models.sites import open_at
from ..models.windows import least_angle
from ..optimizer.problem.ring_phase import ring_of
from .layout import figures, heading, note, table, words

SHOWN = 8
"""Windows listed of one site."""

TURNS = 4.0
"""Without a latest finish windows are examined for so many turns of the site."""


def always_there(scenario: Scenario, pad: Pad) -> bool:
    """Whether a site is in the first ring plane at every moment."""
    return always_in_plane(SiteAndPlane.of(scenario.body, pad, ring_of(scenario)), IN_PLANE_RAD)


def window_lines(scenario: Scenario, width: int) -> list[str]:
    """A table of launch windows for each site that is not in the ring plane at all times; nothing without one."""
    if all(craft.orbit is not None for craft in scenario.craft):
        return []
    ring = ring_of(scenario)
    lines: list[str] = []
    for pad in scenario.pads:
        if not always_there(scenario, pad):
            lines += _site_lines(scenario, ring, pad, width)
    return [*heading("Launch windows", width), *lines] if lines else []


def _site_lines(scenario: Scenario, ring: Ring, pad: Pad, width: int) -> list[str]:
    places = [SiteAndPlane.of(scenario.body, pad, ring, plane) for plane in range(ring.planes)]
    nearest = min(least_angle(place) for place in places)
    if nearest > pad.plane_tolerance_rad:
        degrees = math.degrees(nearest)
        text = (
            f"{pad.name} never comes nearer to the ring plane than {degrees:.3f} deg: nothing can be launched from it"
        )
        return note(f"{text} unless launch.plane_tolerance_deg is as much.", width)
    until = scenario.limits.finish_within_s
    if not math.isfinite(until):
        until = pad.ready_s + TURNS * min(turn_s(places[0]), 1e9)
    until = min(max(until, pad.ready_s), pad.until_s, pad.ready_s + 1e10)
    insertion = ascent(scenario.body, ring, pad, 0, pad.insertions[0])
    found = [
        (window, plane)
        for plane in range(ring.planes)
        for window in windows_of(scenario.body, ring, pad, plane, insertion.insertion_speed_m_s, pad.ready_s, until)
    ]
    found.sort(key=lambda item: item[0].time_s)
    several = ring.planes > 1
    tolerant = pad.plane_tolerance_rad > 0.0
    shown = [window for window, _ in found[:SHOWN]]
    filled = [
        words("liftoff", [instant(scenario.epoch, one.time_s) for one in shown], wraps=True),
        figures("plane", cells=[f"{plane}" for _, plane in found[:SHOWN]]) if several else None,
        words("ring goes", ["north" if one.ascending else "south" for one in shown]),
        figures("azimuth", cells=[f"{plain(math.degrees(one.azimuth_rad), 2)} deg" for one in shown]),
        figures("over ground", cells=[f"{plain(math.degrees(one.flight_azimuth_rad), 2)} deg" for one in shown]),
        figures("span", cells=[_span(one) for one in shown]) if tolerant else None,
        words("open", [_closed(pad, one) for one in shown], wraps=True),
    ]
    passes = "1 window" if len(found) == 1 else f"{len(found)} windows"
    text = f"{pad.name}: {passes} up to {instant(scenario.epoch, until)}"
    text += f", the first {SHOWN} of them:" if len(found) > SHOWN else ":" if found else "."
    notes = []
    if nearest > 0.0:
        notes.append(f"The site comes no nearer to the plane than {brief(math.degrees(nearest), 4)} deg.")
    notes.append("Azimuths from north over east: against the stars, and over the turning ground for a level insertion.")
    if tolerant:
        notes.append(
            "Span: for how long before and after, in minutes and seconds, the site is near enough to the plane."
        )
    lines = note(text, width)
    return [*lines, *table(filled, width), *note(" ".join(notes), width)] if shown else lines


def _span(window: Window) -> str:
    """Minutes and seconds before and after."""
    return f"-{_minutes(window.time_s - window.from_s)} +{_minutes(window.to_s - window.time_s)}"


def _minutes(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"


def _closed(pad: Pad, window: Window) -> str:
    if not window.in_corridor:
        return "outside the corridor"
    if not bool(open_at(pad, window.time_s)):
        return "in a blackout"
    return "yes"
