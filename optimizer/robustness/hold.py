"""How long a ring keeps its spacing without another burn, and what it takes to keep it longer.

A craft whose period differs from the ring's by dT falls behind its slot by 2 pi dT / T a turn, so at the constant rate
2 pi dT / T^2: Kepler's third law, to first order in dT / T (common practice; compare the flight in the tests). Flown
periods are nodal ones over the body as the scenario has it, so what its oblateness does to all craft alike is in them;
drag, other bodies, an uneven equator and the wobble within a turn are not: what the largest of these could do is
estimated beside it (``models/missing_forces.py``).
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

from ...models import frames
from ...models.missing_forces import Pull, drag_unknown, known, pulls
from ...models.ring import Ring
from ...models.scenario import Scenario
from ...models.units import YEAR_S
from ..craft_plan import CraftPlan
from ..outcome import Hold, Kept

PHASING_SHARE = 2.0
"""Craft that start together and phase with burns of a share x of the circular speed drift apart by about this many x
of what craft do that were put on the ring where the pull is opposite (flown, see the tests of this module)."""


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


def hold(ring: Ring, scenario: Scenario, craft: Sequence[CraftPlan], kept: Sequence[Kept]) -> Hold | None:
    """How long the ring holds; None where there is no craft in it.

    Args:
        ring: with its period.
        scenario: body, tolerance, how long the ring is to hold, and how well periods will be known.
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
    spec = scenario.ring
    tolerance, known_to = spec.tolerance_rad, spec.period_known_to_s
    doubt = 0.0 if known_to is None else abs(rate_of(known_to, ring.period_s))
    first = min(drifts, key=lambda drift: drift.leaves_s(tolerance, doubt))
    worst = max(drifts, key=lambda drift: abs(drift.error_rad))
    room = max(tolerance - abs(worst.error_rad), 0.0)
    match = room / spec.hold_for_s * ring.period_s**2 / (2.0 * math.pi)
    trims = None
    if known_to is not None and doubt > 0.0 and first.leaves_s(tolerance, doubt) < spec.hold_for_s:
        # from one edge of the tolerance to the other, where the drift that is in doubt is turned round
        trims = YEAR_S / (2.0 * tolerance / doubt) * trim_m_s(ring, 2.0 * known_to)
    missing, missing_s = largest_missing(ring, scenario, craft, kept)
    return Hold(
        craft=first.craft,
        flown_s=min(drift.leaves_s(tolerance) for drift in drifts),
        known_s=None if known_to is None else first.leaves_s(tolerance, doubt),
        period_known_to_s=known_to,
        wanted_s=spec.hold_for_s,
        match_s=match,
        trim_m_s_year=trims,
        period_error_s=next((part.flown.period_error_s for part in craft if part.craft == first.craft), 0.0),
        missing=missing,
        missing_s=missing_s,
        refused=_refused(ring, scenario),
    )


def _refused(ring: Ring, scenario: Scenario) -> str:
    body = scenario.body
    if not drag_unknown(body, ring.radius_m):
        return ""
    unknown = f"no published density of the air of {body.name} is" if known(body) else "other bodies and air are not"
    return f"the ring is close above the air, and {unknown} known here"


def largest_missing(
    ring: Ring, scenario: Scenario, craft: Sequence[CraftPlan], kept: Sequence[Kept]
) -> tuple[str, float]:
    """The force left out that could spoil the spacing first, and after how many seconds; ("", inf) where none is known.

    By order of magnitude. Drag and the pull at a fixed longitude count in full, as if one craft felt them and another
    did not; pulls that come round twice a turn by how differently craft were put on the ring.
    """
    found = pulls(scenario.body, ring.radius_m, ring.rate_rad_s, ring.inclination_rad) or ()
    tolerance = scenario.ring.tolerance_rad
    times = [(one.spoils_s(ring.rate_rad_s, tolerance, _share(one, ring, craft, kept)), one.name) for one in found]
    soonest_s, name = min(times, default=(math.inf, ""))
    return name, soonest_s


def _share(pull: Pull, ring: Ring, craft: Sequence[CraftPlan], kept: Sequence[Kept]) -> float:
    """Half the largest difference between two craft in what a pull leaves in their mean rates, as a share of the whole.

    The energy of a craft less the potential of the pull stays as it began, through burns of a set size: so the moment
    and the place of the first state decide, by the phase at which the pull comes round, and to a lesser part the burns.
    The place of the other body is not used: the largest difference over its possible places is taken.
    """
    if pull.pattern_rad_s is None or pull.fixed or len(craft) + len(kept) < 2:
        return 1.0
    began = [0j] * len(kept)  # mean rates of craft that stay are taken for the ring's
    for part in craft:
        if part.itinerary is None:
            return 1.0
        node = ring.node(part.itinerary.start_s, part.plane)
        angle = node + float(frames.latitude_argument(part.itinerary.position, ring.inclination_rad, node))
        began.append(cmath.exp(2j * (angle - pull.pattern_rad_s * part.itinerary.start_s)))
    apart = max(abs(one - other) for one in began for other in began)
    burned = max((part.delta_v_m_s for part in craft), default=0.0) / ring.speed_m_s
    return min(1.0, 0.5 * apart + PHASING_SHARE * burned)
