"""What this version plans, and refuses to pretend beyond: one ring plane with the sites in it, orbits that touch it.

Each refusal stands alone, so that the work that lifts it removes one function here.
"""

from __future__ import annotations

import math

from .document import Table
from .readouts import brief, plain
from .scenario import Body, Pad, RingSpec, Scenario

IN_PLANE_RAD = math.radians(0.001)
"""A site this near to the ring plane is in it: about 100 m on Earth."""


ON_RING_M = 1000.0
ON_RING_SHARE = 1e-4
"""An apsis is on the ring within 1 km, or within this share of the radius where that is more."""


def on_ring(radius_m: float, ring_radius_m: float) -> bool:
    """Whether a radius is the ring's, as near as a file rounds it."""
    return abs(radius_m - ring_radius_m) <= max(ON_RING_M, ON_RING_SHARE * ring_radius_m)


def refuse_beyond_scope(scenario: Scenario, root: Table) -> None:
    """Raise InputError for what this version does not plan."""
    _one_plane(scenario, root)
    _sites_in_plane(scenario, root)
    _orbits_touch_ring(scenario, root)


def _one_plane(scenario: Scenario, root: Table) -> None:
    table = root.tables["ring"][0]
    if scenario.ring.planes > 1:
        raise table.error(
            f"{table.quote('planes')} is not planned yet: this version plans one plane with the launch site in it; "
            "set planes = 1 and plan each plane by itself.",
            "planes",
        )


def out_of_plane_rad(body: Body, ring: RingSpec, pad: Pad) -> float:
    """Largest angle between a site and the ring plane over a turn of the body, rad.

    The height of the site over the plane is the product of its direction with the ring's pole: a constant part,
    sin(latitude) cos(i), and one that turns with the body, of amplitude cos(latitude) sin(i) (spherical triangle, e.g.
    Vallado 2013, section 6.4). A body that does not turn leaves the second at one value.

    >>> ring = RingSpec(radius_m=1e7, slots=3, inclination_rad=0.0)
    >>> round(math.degrees(out_of_plane_rad(Body(name="a", gm=1.0, radius_m=1.0, sidereal_day_s=1e5), ring,
    ...                                     Pad(name="p", latitude_rad=math.radians(5.0)))), 6)
    5.0
    """
    steady = math.sin(pad.latitude_rad) * math.cos(ring.inclination_rad)
    turning = math.cos(pad.latitude_rad) * math.sin(ring.inclination_rad)
    if math.isinf(body.sidereal_day_s):
        right_ascension = pad.longitude_rad + body.prime_meridian_rad
        height = abs(steady + turning * math.sin(ring.node_rad - right_ascension))
    else:
        height = abs(steady) + abs(turning)
    return math.asin(min(1.0, height))


def _sites_in_plane(scenario: Scenario, root: Table) -> None:
    if all(craft.orbit is not None for craft in scenario.craft):
        return
    for pad, table in zip(scenario.pads, root.tables.get("launch", ()), strict=True):
        off = out_of_plane_rad(scenario.body, scenario.ring, pad)
        if off > IN_PLANE_RAD:
            raise table.error(
                f"{table.quote('latitude')} and a ring at {brief(math.degrees(scenario.ring.inclination_rad))} deg of "
                f"inclination take the site out of the ring plane by up to {plain(math.degrees(off), 3)} deg: this "
                "version plans one plane with the launch site in it at all times, such as a ring over the equator "
                "(inclination_deg = 0) and a site on it (latitude_deg = 0).",
                "latitude",
            )


def _orbits_touch_ring(scenario: Scenario, root: Table) -> None:
    ring, body = scenario.ring, scenario.body
    if scenario.front_step_s is not None:
        return
    for craft, table in zip(scenario.craft, root.tables["craft"], strict=True):
        inside = table.table("orbit")
        if craft.orbit is None or inside is None:
            continue
        apsides = (craft.orbit.periapsis_m, craft.orbit.apoapsis_m)
        if any(on_ring(apsis, ring.radius_m) for apsis in apsides):
            continue
        low, high = (brief((apsis - body.radius_m) / 1e3) for apsis in apsides)
        shape = f"circles at {low} km" if craft.orbit.circular else f"runs from {low} to {high} km"
        hint = ""
        if "altitude" in inside and on_ring(inside.number_or("altitude", 0.0), ring.radius_m):
            hint = f" If {brief(inside.number_or('altitude', 0.0) / 1e3)} km is from the center, write radius_km."
        raise inside.error(
            f"{inside.label} {shape} and does not touch the ring at {brief((ring.radius_m - body.radius_m) / 1e3)} km: "
            "phasing orbits begin on the ring or at an apsis that touches it, to 1 km. For free-form flights from any "
            f"orbit give goal.front_step, such as front_step_h = 1 under [goal].{hint}"
        )
