"""How long a ring keeps its spacing without another burn, and what it takes to keep it longer.

A craft whose period differs from the ring's by dT falls behind its slot by 2 pi dT / T a turn, so at the constant rate
2 pi dT / T^2: Kepler's third law, to first order in dT / T (common practice; compare the flight in the tests). Flown
periods are nodal ones over the body as the scenario has it, so what its oblateness does to all craft alike is in them;
drag, other bodies and the wobble within a turn are not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ...models.ring import Ring
from ...models.scenario import RingSpec
from ..outcome import CraftPlan, Hold, Kept

YEAR_S = 365.25 * 86_400.0


@dataclass(frozen=True, kw_only=True)
class Drift:
    """One craft against its slot: its error at the end of its plan, rad, and the rate at which that grows, rad/s."""

    craft: str
    error_rad: float
    rate_rad_s: float

    def leaves_s(self, tolerance_rad: float, doubt_rad_s: float = 0.0) -> float:
        """Seconds until the error reaches the tolerance on either side, with the rate in doubt by so much either way.

        >>> round(Drift(craft="Teal", error_rad=0.001, rate_rad_s=-1e-9).leaves_s(0.009), 3)
        10000000.0
        """
        soonest = math.inf
        for rate in (self.rate_rad_s - doubt_rad_s, self.rate_rad_s + doubt_rad_s):
            room = tolerance_rad - math.copysign(1.0, rate) * self.error_rad
            if rate != 0.0:
                soonest = min(soonest, max(room, 0.0) / abs(rate))
        return soonest


def rate_of(period_error_s: float, period_s: float) -> float:
    """Drift against the slot, rad/s, of a craft whose period is longer than the ring's by so much: it falls behind."""
    return -2.0 * math.pi * period_error_s / period_s**2


def trim_m_s(ring: Ring, period_error_s: float) -> float:
    """Burn along the track that changes the period by so much, m/s: dv = v dT / (3 T) (vis-viva, Kepler's third law).

    >>> ring = Ring(radius_m=1.0e7, slots=3, rate_rad_s=6.3e-4, slot0_rad=0.0, gm=3.986e14)
    >>> round(trim_m_s(ring, 1.0), 3)
    0.211
    """
    return ring.speed_m_s * abs(period_error_s) / (3.0 * ring.period_s)


def hold(ring: Ring, spec: RingSpec, craft: Sequence[CraftPlan], kept: Sequence[Kept]) -> Hold | None:
    """How long the ring holds; None where there is nobody in it.

    Args:
        ring: with its period.
        spec: tolerance, how long it is to hold, and how well periods will be known.
        craft: as flown into their slots.
        kept: craft that stay; their periods are taken to be the ring's.
    """
    drifts = [
        Drift(
            craft=part.craft,
            error_rad=part.flown.slot_error_rad,
            rate_rad_s=rate_of(part.flown.period_error_s, ring.period_s),
        )
        for part in craft
    ]
    drifts += [Drift(craft=k.craft, error_rad=k.error_rad, rate_rad_s=0.0) for k in kept]
    if not drifts:
        return None
    tolerance, known = spec.tolerance_rad, spec.period_known_to_s
    doubt = 0.0 if known is None else abs(rate_of(known, ring.period_s))
    first = min(drifts, key=lambda drift: drift.leaves_s(tolerance, doubt))
    worst = max(drifts, key=lambda drift: abs(drift.error_rad))
    room = max(tolerance - abs(worst.error_rad), 0.0)
    match = room / spec.hold_for_s * ring.period_s**2 / (2.0 * math.pi)
    trims = None
    if known is not None and doubt > 0.0 and first.leaves_s(tolerance, doubt) < spec.hold_for_s:
        # from one edge of the tolerance to the other, where the drift that is in doubt is turned round
        trims = YEAR_S / (2.0 * tolerance / doubt) * trim_m_s(ring, 2.0 * known)
    return Hold(
        craft=first.craft,
        flown_s=min(drift.leaves_s(tolerance) for drift in drifts),
        known_s=None if known is None else first.leaves_s(tolerance, doubt),
        period_known_to_s=known,
        wanted_s=spec.hold_for_s,
        match_s=match,
        trim_m_s_year=trims,
    )
