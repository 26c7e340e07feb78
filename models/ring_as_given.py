"""The ring of a scenario, turning as the field of its body has it turn."""

from __future__ import annotations

from . import oblateness, orbits
from .ring import Ring
from .scenario import Body, RingSpec


def ring_as_given(body: Body, spec: RingSpec) -> Ring:
    """The ring that a scenario gives, its phase 0 where that is free.

    Over an oblate body with the rates of its mean radius (see ``oblateness.ring_rates``).
    """
    rate, node_rate = float(orbits.rate(body.gm, spec.radius_m)), 0.0
    if body.j2 != 0.0:
        rate, node_rate = oblateness.ring_rates(body, spec.radius_m, spec.inclination_rad)
    return Ring(
        radius_m=spec.radius_m,
        slots=spec.slots,
        rate_rad_s=rate,
        slot0_rad=0.0 if spec.slot0_rad is None else spec.slot0_rad,
        gm=body.gm,
        inclination_rad=spec.inclination_rad,
        node_rad=spec.node_rad,
        node_rate_rad_s=node_rate,
        planes=spec.planes,
        phasing=spec.phasing,
        spread_rad=spec.spread_rad,
        pattern_rad=spec.pattern_rad,
    )
