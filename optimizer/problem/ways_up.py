"""Every pad's every insertion into every plane, where there is an opportunity at all."""

from __future__ import annotations

import math

from ...models import launch
from ...models import oblate_coast as coast
from ...models.azimuth import azimuth_of_least_tilt
from ...models.opportunities import IN_PLANE_RAD, always_in_plane, band, corridor_admits, liftoffs, open_to, turn_s
from ...models.ring import Ring
from ...models.scenario import Pad, Scenario
from ...models.site_and_plane import SiteAndPlane
from ...models.windows import least_angle


def kept_tilt_rad(scenario: Scenario) -> float:
    """Greatest angle from the ring plane at liftoff that is not taken off, rad.

    What the ring allows; over an oblate body less, by what the plane as given at the insertion is off its own mean:
    3/4 J2 (Re/r)^2 sin i cos i in inclination (see `oblateness.ring_state`), and as much again for the rest.
    """
    spec, body = scenario.ring, scenario.body
    radii = [insertion.radius_m for pad in scenario.pads for insertion in pad.insertions]
    strength = body.j2 * (body.j2_radius_m / min(radii, default=spec.radius_m)) ** 2
    wobble = 0.75 * abs(strength * math.sin(2.0 * spec.inclination_rad))
    return max(spec.tilt_tolerance_rad - wobble, 0.0)


def ways_up(scenario: Scenario, ring: Ring) -> tuple[launch.Ascent, ...]:
    """Every pad's every insertion into every plane for which there is an opportunity at all."""
    body = scenario.body
    found: list[launch.Ascent] = []
    for index, pad in enumerate(scenario.pads):
        for plane in range(ring.planes):
            place = SiteAndPlane.of(body, pad, ring, plane)
            always = always_in_plane(place, IN_PLANE_RAD)
            headings = [launch.Heading(plane=plane)] if always else _headings(scenario, pad, place, plane)
            for insertion in pad.insertions:
                ways = [coast.ascent(body, ring, pad, index, insertion, heading) for heading in headings]
                found += [way for way in ways if way is not None and _ever_open(scenario, ring, pad, way, place)]
    return tuple(found)


def _headings(scenario: Scenario, pad: Pad, place: SiteAndPlane, plane: int) -> list[launch.Heading]:
    """Ways of a site that passes through the plane, or comes near enough to it: north and south, by tilt."""
    kinds: list[launch.TiltAt] = ["kept", "apsis", "node"]
    tolerance = kept_tilt_rad(scenario)
    bands = {kind: band(pad, tolerance, kind) for kind in kinds}
    kept = [
        kind for kind, (least, most) in bands.items() if least_angle(place) <= most and (kind == "kept" or most > least)
    ]
    return [
        launch.Heading(plane=plane, place=place, ascending=ascending, tilt_at=kind)
        for kind in kept
        for ascending in (True, False)
    ]


def _ever_open(scenario: Scenario, ring: Ring, pad: Pad, way: launch.Ascent, place: SiteAndPlane) -> bool:
    """Whether a way has an opportunity in two turns of the site, by plane and corridor."""
    body, tolerance = scenario.body, kept_tilt_rad(scenario)
    if way.place is None:
        azimuth = azimuth_of_least_tilt(place, 0.0)
        return bool(corridor_admits(body, pad, way.insertion_speed_m_s, azimuth))
    turn = turn_s(place)
    times = liftoffs(way, ring, pad, tolerance, 0.0, 2.0 * turn if math.isfinite(turn) else 0.0)
    return bool(open_to(way, body, pad, tolerance, times).any())
