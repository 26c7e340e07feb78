"""What a planner should know of a scenario but may decide alone: warnings that refuse nothing."""

from __future__ import annotations

import math

from .. import bodies
from ..readouts import brief, plain
from ..round_orbits import SEED, grown_after_s, growth_rad_s, round_up_to_rad
from ..scenario import Scenario, on_ring
from ..units import DAY_S

HILL_SHARE = 1.0 / 3.0
"""Up to this share of the Hill radius a two-body plan is worth something (common practice, no source)."""


UNSAID_M = 50.0
"""An apsis this near to the ring is what a file's rounding leaves; one farther off is said to be moved onto it."""


def warnings(scenario: Scenario) -> tuple[str, ...]:
    """What a planner should know but may decide for itself."""
    found = []
    body = scenario.body
    reach = [("the ring", scenario.ring.radius_m)]
    for pad in scenario.pads:
        reach += [(f"the insertion of {pad.name}", insertion.apoapsis_m) for insertion in pad.insertions]
    reach += [(f"the orbit of {craft.name}", craft.orbit.apoapsis_m) for craft in scenario.craft if craft.orbit]
    far = [(what, radius) for what, radius in reach if radius > HILL_SHARE * body.hill_radius_m]
    if far:
        what, radius = max(far, key=lambda item: item[1])
        found.append(
            f"{what[0].upper()}{what[1:]} reaches {plain(radius / 1e3, 0)} km from the center of {body.name}, past a "
            f"third of its Hill radius ({plain(body.hill_radius_m / 1e3, 0)} km): other bodies, which plans leave out, "
            "pull noticeably there."
        )
    found += _not_round(scenario)
    found += _laid_on_ring(scenario)
    found += _near_neighbors(scenario)
    if scenario.pads and all(craft.orbit is not None for craft in scenario.craft):
        found.append("There is a [launch], but every craft is in space already: nothing is launched.")
    return tuple(found)


def _not_round(scenario: Scenario) -> list[str]:
    """A ring whose circles the pull of another body stretches within the time that it is to hold."""
    body, ring = scenario.body, scenario.ring
    others = [bodies.Neighbor(name=one.name, gm=one.gm, distance_m=one.radius_m) for one in scenario.pulls]
    if body.name.lower() in bodies.body_names():
        others += bodies.neighbors(body.name)
    others = [one for one in others if one.distance_m > ring.radius_m]
    grows = growth_rad_s(body, ring.radius_m, ring.inclination_rad, others)
    spoilt_s = grown_after_s(grows, 0.5 * ring.tolerance_rad)
    if spoilt_s > ring.hold_for_s:
        return []
    strongest = max(others, key=lambda one: one.gm / one.distance_m**3).name
    article = "the " if strongest in ("Sun", "Earth", "Moon") else ""
    most = math.sqrt(max(1.0 - 5.0 / 3.0 * math.cos(ring.inclination_rad) ** 2, 0.0))
    bound = math.degrees(round_up_to_rad(body, ring.radius_m, ring.inclination_rad, others))
    side = "above" if ring.inclination_rad > 0.5 * math.pi else "below"
    tilt = plain(math.degrees(ring.inclination_rad), 1)
    fold, spoilt = plain(1.0 / grows / DAY_S, 0), plain(spoilt_s / DAY_S, 0)
    return [
        f"This is no ring for long: under the pull of {article}{strongest} circles at {tilt} deg do not stay round "
        f"here: their eccentricity comes to about {plain(most, 2)}. One of {SEED} grows {math.e:.1f} times in {fold} "
        f"days, and after about {spoilt} days the angle swings by more than the tolerance in each turn: an estimate by "
        "a closed form (Lidov 1962, Kozai 1962), good to a factor of two. At this altitude circles stay round "
        f"{side} about {plain(bound, 0)} deg."
    ]


def _near_neighbors(scenario: Scenario) -> list[str]:
    """A pattern of planes whose own craft come nearer to one another, where planes cross, than craft in place may."""
    ring, limit_m = scenario.ring, scenario.limits.separation_m
    if ring.planes == 1 or limit_m <= 0.0:
        return []
    # needs NumPy, which a file of one plane is read without
    from ..patterns import Pattern, nearest_neighbor

    pattern = Pattern(
        total=ring.planes * ring.slots,
        planes=ring.planes,
        phasing=ring.phasing,
        inclination_rad=ring.inclination_rad,
        spread_rad=ring.spread_rad,
        ahead_rad=ring.pattern_rad,
    )
    nearest_m = nearest_neighbor(pattern, ring.radius_m)
    if nearest_m >= limit_m:
        return []
    return [
        f"In the whole pattern craft come within {plain(nearest_m / 1e3)} km of one another where planes cross, nearer "
        f"than limits.separation of {brief(limit_m / 1e3)} km: another ring.phasing may keep them apart."
    ]


def _laid_on_ring(scenario: Scenario) -> list[str]:
    """Orbits with an apsis near enough to the ring to be taken as on it, yet too far off to leave it unsaid."""
    ring = scenario.ring
    given = [(f"craft {craft.name}", craft.orbit) for craft in scenario.craft if craft.orbit]
    ends = [(who, apsis) for who, orbit in given for apsis in {orbit.periapsis_m, orbit.apoapsis_m}]
    ends += [(f"an insertion of {pad.name}", way.apoapsis_m) for pad in scenario.pads for way in pad.insertions]
    near = [(who, apsis - ring.radius_m) for who, apsis in ends if on_ring(apsis, ring.radius_m)]
    return [
        f"The orbit of {who} has an apsis {plain(abs(off) / 1e3, 3)} km {'above' if off > 0.0 else 'below'} the ring: "
        "it is planned as if it lay on the ring."
        for who, off in near
        if abs(off) > UNSAID_M
    ]
