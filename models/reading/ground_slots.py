"""A ring whose slots keep their longitudes over the ground: `ring.longitude`."""

from __future__ import annotations

import math

from ..readouts import brief
from ..scenario import Body
from .document import Table

_SAID_BY_THE_GROUND = ("altitude", "radius", "period", "slot0", "inclination", "node", "planes", "phasing", "spread")


def fixed_to_ground(table: Table, body: Body) -> tuple[float, float] | None:
    """Radius of a ring fixed to the ground and the argument of latitude of its slot 0 at the epoch; None for another.

    Raises:
        InputError: the ring cannot keep step with the ground, or says of itself what the ground says.
    """
    longitude = table.number("longitude")
    if longitude is None:
        return None
    quoted = table.quote("longitude")
    for name in _SAID_BY_THE_GROUND:
        if name in table:
            raise table.error(
                f"{quoted} fixes the slots to the ground, on the circle over the equator on which craft keep step with "
                f"it, which leaves no choice of {name}: take {table.entries[name].spelled} out, or longitude.",
                name,
            )
    if not body.spin_rad_s > 0.0:
        turns = "does not turn" if math.isinf(body.sidereal_day_s) else "turns backwards"
        raise table.refused(
            "longitude", f"fixes the slots to the ground, but {body.name} {turns}: give a size and slot0_deg instead."
        )
    from ..synchronous import synchronous_radius_m

    radius = synchronous_radius_m(body)
    if radius >= body.hill_radius_m:
        raise table.refused(
            "longitude",
            f": craft that keep step with the ground of {body.name} would be {brief(radius / 1e3, 6)} km from its "
            f"center, outside its Hill sphere of {brief(body.hill_radius_m / 1e3, 6)} km, where they do not stay.",
        )
    return radius, body.prime_meridian_rad + longitude
