"""What this version plans, and refuses to pretend beyond: orbits that touch the ring, circles that drift to it.

Each refusal stands alone, so that the work that lifts it removes one function here.
"""

from __future__ import annotations

import math

from ..readouts import brief
from ..scenario import Scenario, on_ring
from .document import Table

SAME_NODES = 1e-6
"""Over the equator and over the poles, sin 2i below this, nodes do not drift apart."""


def nodes_drift(scenario: Scenario) -> bool:
    """Whether the nodes of circles of different size drift apart: over an oblate body, neither equatorial nor polar."""
    return scenario.body.j2 != 0.0 and abs(math.sin(2.0 * scenario.ring.inclination_rad)) > SAME_NODES


def planes_stay(scenario: Scenario) -> bool:
    """Whether circles of different size stay in one plane: over a round body, and over the equator."""
    return scenario.body.j2 == 0.0 or math.sin(scenario.ring.inclination_rad) < SAME_NODES


def refuse_beyond_scope(scenario: Scenario, root: Table) -> None:
    """Raise InputError for what this version does not plan."""
    _orbits_touch_ring(scenario, root)


def _orbits_touch_ring(scenario: Scenario, root: Table) -> None:
    ring, body = scenario.ring, scenario.body
    if scenario.front_step_s is not None:
        return
    for craft, table in zip(scenario.craft, root.tables["craft"], strict=True):
        if craft.orbit is None:
            continue
        # of a message there is no table of the orbit
        inside = table.table("orbit") or table
        apsides = (craft.orbit.periapsis_m, craft.orbit.apoapsis_m)
        if any(on_ring(apsis, ring.radius_m) for apsis in apsides):
            continue
        if craft.orbit.nearly_circular and nodes_drift(scenario):
            continue
        low, high = (brief((apsis - body.radius_m) / 1e3) for apsis in apsides)
        shape = f"circles at {low} km" if craft.orbit.circular else f"runs from {low} to {high} km"
        hint = ""
        if "altitude" in inside and on_ring(inside.number_or("altitude", 0.0), ring.radius_m):
            # such a circle is hardly meant
            hint = f" If {brief(inside.number_or('altitude', 0.0) / 1e3)} km is from the center, write radius_km."
        if craft.orbit.circular and planes_stay(scenario) and not hint:
            continue
        raise inside.error(
            f"{inside.label} {shape} and does not touch the ring at {brief((ring.radius_m - body.radius_m) / 1e3)} km: "
            "phasing orbits begin on the ring or at an apsis that touches it, to 1 km, transfers on another circle "
            "over the equator or a round body, nodal drift on a circle or nearly one, of eccentricity 0.002 at most, "
            "over an oblate body. For free-form flights from any orbit into its own plane add goal.front_step, the "
            f"time between one finish to be examined and the next.{hint}"
        )
