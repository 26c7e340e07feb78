"""Why no site may launch into the ring at all, and what would let it.

A question of geometry that comes before any catalogue: whether a site ever is in the plane, or near enough, and whether
a flight azimuth is allowed that leads into it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...models import oblate_coast as coast
from ...models.arrays import Array
from ...models.azimuth import azimuth_of_least_tilt
from ...models.opportunities import flight_azimuth
from ...models.ring import Ring
from ...models.scenario import Pad, Scenario
from ...models.site_and_plane import SiteAndPlane
from ...models.windows import least_angle, off_plane, passes
from ..catalogue.problem import problems
from ..outcome import Bind, Infeasible

GRAIN_RAD = math.radians(0.01)
"""An angle that would serve is told to this."""


def blocked_sites(scenario: Scenario) -> Infeasible | None:
    """What keeps every craft on the ground there; None where somebody may go up, or nobody is to."""
    problem = problems(scenario)[0]
    if not problem.launches or problem.ways:
        return None
    off = [(pad, bind) for pad in scenario.pads for bind in _out_of_plane(scenario, problem.ring, pad)]
    away = [pad for pad, _ in off]
    closed = [
        (pad, bind) for pad in scenario.pads if pad not in away for bind in _azimuths(scenario, problem.ring, pad)
    ]
    said = []
    if off:
        angle = min(_nearest(scenario, problem.ring, pad) for pad in away)
        which = "the launch site never comes" if len(scenario.pads) == 1 else f"{_names(away)} never comes"
        said.append(
            f"{which} nearer to the ring plane than {math.degrees(angle):.3f} deg: a tilt of that much is left, to be "
            "kept within ring.tilt_tolerance or taken off by the craft"
        )
    if closed:
        names = _names([pad for pad, _ in closed])
        said.append(f"no flight azimuth into the ring plane lies in the corridor of {names}")
    if not said:
        return None
    return Infeasible(binds=tuple(bind for _, bind in (*off, *closed)), together=False, reason="; ".join(said))


def _names(pads: Sequence[Pad]) -> str:
    return ", ".join(dict.fromkeys(pad.name for pad in pads))


def _key(scenario: Scenario, pad: Pad, name: str) -> str:
    return f"launch.{name}" if len(scenario.pads) == 1 else f"launch.{pad.name}.{name}"


def _nearest(scenario: Scenario, ring: Ring, pad: Pad) -> float:
    """Least angle between a site and any plane of the ring, ever, rad."""
    return min(least_angle(SiteAndPlane.of(scenario.body, pad, ring, plane)) for plane in range(ring.planes))


def _out_of_plane(scenario: Scenario, ring: Ring, pad: Pad) -> list[Bind]:
    """The angle from the plane that a site would have to be allowed, where it never comes as near as it is."""
    angle = _nearest(scenario, ring, pad)
    if angle <= pad.plane_tolerance_rad:
        return []
    wider = replace(pad, plane_tolerance_rad=math.ceil(angle / GRAIN_RAD) * GRAIN_RAD)
    others = tuple(wider if other is pad else other for other in scenario.pads)
    serves = problems(replace(scenario, pads=others))[0].ways
    return [
        Bind(
            limit=_key(scenario, pad, "plane_tolerance"),
            value=pad.plane_tolerance_rad,
            serves=wider.plane_tolerance_rad if serves else None,
        )
    ]


def _azimuths(scenario: Scenario, ring: Ring, pad: Pad) -> list[Bind]:
    """The end of a site's corridor that is nearest to a flight azimuth into a plane, with that azimuth."""
    if pad.corridor_rad is None:
        return []
    body = scenario.body
    inertial = np.concatenate([_inertial(SiteAndPlane.of(body, pad, ring, plane)) for plane in range(ring.planes)])
    ways = [coast.ascent(body, ring, pad, 0, insertion) for insertion in pad.insertions]
    wanted = [
        azimuth for way in ways for azimuth in flight_azimuth(body, pad, way.insertion_speed_m_s, inertial).tolist()
    ]
    first, last = pad.corridor_rad
    turn = 2.0 * math.pi
    before, azimuth_before = min(((first - azimuth) % turn, azimuth) for azimuth in wanted)
    after, azimuth_after = min(((azimuth - last) % turn, azimuth) for azimuth in wanted)
    if before <= after:
        serves = math.floor(azimuth_before / GRAIN_RAD) * GRAIN_RAD
        return [Bind(limit=_key(scenario, pad, "azimuth_from"), value=first, serves=serves)]
    serves = math.ceil(azimuth_after / GRAIN_RAD) * GRAIN_RAD
    return [Bind(limit=_key(scenario, pad, "azimuth_to"), value=last, serves=serves)]


def _inertial(place: SiteAndPlane) -> Array:
    """Inertial azimuths at the passes of a turn; for a site without passes that of the least tilt when nearest."""
    rate = abs(place.relative_rate_rad_s)
    turn = 2.0 * math.pi / rate if rate > 0.0 else 0.0
    found = passes(place, 0.0, turn).azimuth_rad
    if found.size:
        return found
    times = np.linspace(0.0, turn, 721)
    return azimuth_of_least_tilt(place, times[np.argmin(np.abs(off_plane(place, times)))][None])
