"""Why no site may launch into the ring at all, and what would let it.

A question of geometry that comes before any catalogue: whether a site ever is in the plane, or near enough, and whether
a flight azimuth is allowed that leads into it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models import oblate_coast as coast
from ...models.arrays import Array
from ...models.azimuth import azimuth_of_least_tilt
from ...models.launch import Ascent
from ...models.opportunities import flight_azimuth
from ...models.ring import Ring
from ...models.scenario import Pad, Scenario
from ...models.site_and_plane import SiteAndPlane
from ...models.windows import least_angle, off_plane, passes
from ..limits.loosening import DEGREE, Loosening, site_key, with_pad
from ..problem.ring_phase import problems

GRAIN_DEG = 0.01
"""An angle that would serve is printed to this."""
GRAIN_KM, HEIGHTS = 0.1, 50
"""An altitude of insertion that would serve is printed to this; so many are looked at on the way up to the ring."""


@dataclass(frozen=True, kw_only=True)
class Blocked:
    """Why every craft stays on the ground, in words, and what of the sites may be loosened, from what geometry asks."""

    reason: str
    items: tuple[Loosening, ...] = ()


def blocked_sites(scenario: Scenario) -> Blocked | None:
    """What keeps every craft on the ground there; None where some craft may go up, or none is to."""
    problem = problems(scenario)[0]
    if not problem.launches or problem.ways:
        return None
    ring = problem.ring
    if not any(_ways_by(scenario, ring, pad) for pad in scenario.pads):
        return Blocked(
            reason="no insertion leads up to the ring: over the oblate body its coast does not come to the ring's "
            "height, or reads as an open orbit",
            items=tuple(item for index in range(len(scenario.pads)) for item in _higher(scenario, ring, index)),
        )
    off = {index: found for index in range(len(scenario.pads)) if (found := list(_out_of_plane(scenario, ring, index)))}
    closed = {
        index: found
        for index in range(len(scenario.pads))
        if index not in off and (found := list(_azimuths(scenario, ring, index)))
    }
    said = []
    if off:
        away = [scenario.pads[index] for index in off]
        angle = min(_nearest(scenario, ring, pad) for pad in away)
        which = "the launch site never comes" if len(scenario.pads) == 1 else f"{_names(away)} never comes"
        said.append(
            f"{which} nearer to the ring plane than {math.degrees(angle):.3f} deg: a tilt of that much is left, to be "
            "kept within ring.tilt_tolerance or taken off by the craft"
        )
    if closed:
        names = _names([scenario.pads[index] for index in closed])
        said.append(f"no flight azimuth into the ring plane lies in the corridor of {names}")
    if not said:
        return None
    items = tuple(item for found in (*off.values(), *closed.values()) for item in found)
    return Blocked(reason="; ".join(said), items=items)


def _names(pads: Sequence[Pad]) -> str:
    return ", ".join(dict.fromkeys(pad.name for pad in pads))


def _nearest(scenario: Scenario, ring: Ring, pad: Pad) -> float:
    """Least angle between a site and any plane of the ring, ever, rad."""
    return min(least_angle(SiteAndPlane.of(scenario.body, pad, ring, plane)) for plane in range(ring.planes))


def _out_of_plane(scenario: Scenario, ring: Ring, index: int) -> list[Loosening]:
    """The angle from the plane that a site would have to be allowed, where it never comes as near as it is."""
    pad = scenario.pads[index]
    angle = _nearest(scenario, ring, pad)
    if angle <= pad.plane_tolerance_rad:
        return []
    return [
        Loosening(
            key=site_key(scenario, pad, "plane_tolerance"),
            now=pad.plane_tolerance_rad,
            most=0.5 * math.pi,
            step=GRAIN_DEG,
            unit=DEGREE,
            least=angle,
            apply=with_pad(index, lambda pad, value: replace(pad, plane_tolerance_rad=value)),
        )
    ]


def _azimuths(scenario: Scenario, ring: Ring, index: int) -> list[Loosening]:
    """The end of a site's corridor that is nearest to a flight azimuth into a plane, from that azimuth on.

    An end is moved on past a whole turn where it must: 350 deg to 420 deg is a corridor across north.
    """
    pad = scenario.pads[index]
    if pad.corridor_rad is None:
        return []
    body = scenario.body
    inertial = np.concatenate([_inertial(SiteAndPlane.of(body, pad, ring, plane)) for plane in range(ring.planes)])
    ways = _ways_by(scenario, ring, pad)
    wanted = [
        azimuth for way in ways for azimuth in flight_azimuth(body, pad, way.insertion_speed_m_s, inertial).tolist()
    ]
    first, last = pad.corridor_rad
    turn = 2.0 * math.pi
    last = first + (last - first) % turn
    before = min((first - azimuth) % turn for azimuth in wanted)
    after = min((azimuth - last) % turn for azimuth in wanted)
    early = before <= after
    return [
        Loosening(
            key=site_key(scenario, pad, "azimuth_from" if early else "azimuth_to"),
            now=first if early else last,
            most=last - turn if early else first + turn,
            step=GRAIN_DEG,
            unit=DEGREE,
            least=first - before if early else last + after,
            apply=with_pad(
                index,
                lambda pad, value: replace(pad, corridor_rad=(value, last) if early else (first, value)),
            ),
        )
    ]


def _higher(scenario: Scenario, ring: Ring, index: int) -> list[Loosening]:
    """The altitude at which the launcher lets go on its way straight up to the ring, where a higher one leads there."""
    pad, body = scenario.pads[index], scenario.body
    if len(pad.insertions) != 1 or pad.insertions[0].circular or pad.insertions[0].out_of is not None:
        return []
    [given] = pad.insertions
    heights = np.linspace(given.radius_m, min(given.apoapsis_m, ring.radius_m), HEIGHTS + 1, endpoint=False)[1:]
    lead = [
        height
        for height in heights.tolist()
        if coast.ascent(body, ring, pad, index, replace(given, radius_m=height)) is not None
    ]
    if not lead:
        return []

    def higher(pad: Pad, altitude_m: float) -> Pad:
        return replace(pad, insertions=(replace(given, radius_m=body.radius_m + altitude_m),))

    return [
        Loosening(
            key=site_key(scenario, pad, "insertion.altitude"),
            now=given.radius_m - body.radius_m,
            most=lead[-1] - body.radius_m,
            step=GRAIN_KM,
            unit=1e3,
            least=lead[0] - body.radius_m,
            apply=with_pad(index, higher),
        )
    ]


def _ways_by(scenario: Scenario, ring: Ring, pad: Pad) -> list[Ascent]:
    """The ways up from a site, whatever its opportunities."""
    ways = [coast.ascent(scenario.body, ring, pad, 0, insertion) for insertion in pad.insertions]
    return [way for way in ways if way is not None]


def _inertial(place: SiteAndPlane) -> Array:
    """Inertial azimuths at the passes of a turn; for a site without passes that of the least tilt when nearest."""
    rate = abs(place.relative_rate_rad_s)
    turn = 2.0 * math.pi / rate if rate > 0.0 else 0.0
    found = passes(place, 0.0, turn).azimuth_rad
    if found.size:
        return found
    times = np.linspace(0.0, turn, 721)
    return azimuth_of_least_tilt(place, times[np.argmin(np.abs(off_plane(place, times)))][None])
