"""A circle off the ring against it: how a craft that waits there gains on the slots, and what the way to them takes.

It passes each slot once in a synodic period.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from . import orbits
from .frames import wrap
from .oblateness import ring_rates
from .ring import TURN_RAD, Ring
from .scenario import Body


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """How a circle off the ring moves against it, and the way from one to the other.

    Args:
        gain_rad_s: how fast a craft in it gains on the slots; below 0 it falls back.
        node_gain_rad_s: how fast its node moves ahead of the ring's; 0 over a round body and over the equator.
        transfer_s, transfer_m_s: time and delta-v of the Hohmann transfer, by the pull of a point mass.
        lead_rad: how far a slot is ahead of the craft when the transfer leaves that arrives there, in [-pi, pi).
    """

    gain_rad_s: float
    node_gain_rad_s: float
    transfer_s: float
    transfer_m_s: float
    lead_rad: float

    @property
    def synodic_s(self) -> float:
        """Time between two passes of one slot (Vallado 2013, section 6.6.1)."""
        return TURN_RAD / abs(self.gain_rad_s)

    def wait_s(self, lead_rad: float) -> float:
        """How long until the transfer leaves that arrives at a slot, s, from 0 up to a synodic period.

        Vallado 2013, section 6.6.1: at departure the slot is half a turn ahead, less what it moves during the transfer.

        Args:
            lead_rad: how far the slot is ahead of the craft now.
        """
        return float((lead_rad - self.lead_rad) * math.copysign(1.0, self.gain_rad_s) % TURN_RAD) / abs(self.gain_rad_s)


def waiting(body: Body, ring: Ring, radius_m: float) -> Waiting:
    """A circle in the ring's inclination, off the ring, by the secular rates of both (``oblateness.ring_rates``).

    Raises:
        ValueError: the circle is the ring's own.
    """
    if radius_m == ring.radius_m:
        raise ValueError("a craft in the ring itself waits for no pass")
    rate, node_rate = ring_rates(body, radius_m, ring.inclination_rad)
    semi = 0.5 * (radius_m + ring.radius_m)
    first, second = (
        abs(float(orbits.speed(body.gm, at, semi) - orbits.speed(body.gm, at, at))) for at in (radius_m, ring.radius_m)
    )
    transfer = 0.5 * float(orbits.period(body.gm, semi))
    return Waiting(
        gain_rad_s=rate - ring.rate_rad_s,
        node_gain_rad_s=node_rate - ring.node_rate_rad_s,
        transfer_s=transfer,
        transfer_m_s=first + second,
        lead_rad=float(wrap(math.pi - ring.rate_rad_s * transfer)),
    )
