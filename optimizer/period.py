"""The one-craft question: which period at cut-off makes whole revolutions end at a slot.

A craft touches the ring tangentially with its slot ahead by L. Every whole number of returns that fits is a row (see
``problem/phasing.py``, Vallado section 6.6); a period that was really reached is judged by the same rule. Two-body,
impulsive. Passing the ring untouched before the first burn is left out: its time shared evenly among all the
revolutions costs no more, because the average period lies nearer to the arrival's own.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..models import frames, orbits
from ..models.ring import Ring
from ..models.scenario import LimitSpec
from .problem.phasing import LIMIT_SLACK, F, I, Touch, every_phasing

TIE_M_S = 1e-6
"""Costs nearer than this are the same: rounding of the speeds themselves."""

TIE_S = 1e-6
"""And times."""

REVOLUTIONS_SOUGHT = 128
"""Most revolutions that are examined when none within the limits fits."""

Limit = Literal["floor", "ceiling", "revolutions", "within"]


@dataclass(frozen=True, kw_only=True)
class Question:
    """One craft at the ring, one slot, and the limits.

    Args:
        gm: gravitational parameter, m^3/s^2.
        ring_radius_m: R.
        lead_rad: how far the slot is ahead at the moment of the touch, in (-pi, pi].
        other_m: radius of the arrival orbit's other apsis, whose touching one is at R; R itself for a craft on the
            ring. It may lie inside the body: a coast.
        floor_m, ceiling_m: radii that the phasing orbit's other apsis must keep to.
        revolutions_max: most phasing revolutions.
        within_s: longest time from the touch to the slot.
    """

    gm: float
    ring_radius_m: float
    lead_rad: float
    other_m: float
    floor_m: float
    ceiling_m: float = math.inf
    revolutions_max: int = LimitSpec().revolutions_max
    within_s: float = math.inf

    @property
    def ring(self) -> Ring:
        """The ring with a single slot, at the lead."""
        return Ring(
            radius_m=self.ring_radius_m,
            slots=1,
            rate_rad_s=float(orbits.rate(self.gm, self.ring_radius_m)),
            slot0_rad=self.lead_rad,
            gm=self.gm,
        )

    @property
    def arrival_speed_m_s(self) -> float:
        """Speed at the touch before any burn (vis-viva)."""
        return float(orbits.speed(self.gm, self.ring_radius_m, 0.5 * (self.ring_radius_m + self.other_m)))

    @property
    def must_burn(self) -> bool:
        """Whether the arrival orbit runs below the floor: the first burn cannot wait for a second pass."""
        return self.other_m < self.floor_m * (1.0 - LIMIT_SLACK)

    @property
    def touch(self) -> Touch:
        """The same as a touch of the ring, for the phasing rule."""
        return Touch(
            ring=self.ring,
            arrival_speed_m_s=self.arrival_speed_m_s,
            floor_m=self.floor_m,
            ceiling_m=self.ceiling_m,
            revolutions_max=self.revolutions_max,
            wait_within_s=self.within_s,
        )


@dataclass(frozen=True, kw_only=True)
class Periods:
    """Periods that fit, as columns, sorted by time, then delta-v, then revolutions.

    Args:
        revolutions, ring_revolutions: k, and the m whole turns of the slot; both 0 where nothing is phased.
        period_s: the period at cut-off; the ring's own where nothing is phased.
        other_m: radius of the other apsis.
        burn_now_m_s, burn_later_m_s: the two burns at the ring, forward positive.
        total_m_s: both without sign.
        wait_s: from the touch to the slot.
        gained_rad: what the craft gains on the ring, negative when it falls back.
        slot_rad_per_s: how far behind its slot the craft ends for each second that the period at cut-off is too long,
            see `slot_per_period`; 0 where nothing is phased.
        unbeaten: no other row is better in delta-v or time and no worse in the other.
    """

    revolutions: I
    ring_revolutions: I
    period_s: F
    other_m: F
    burn_now_m_s: F
    burn_later_m_s: F
    total_m_s: F
    wait_s: F
    gained_rad: F
    slot_rad_per_s: F
    unbeaten: NDArray[np.bool_]

    def __len__(self) -> int:
        return int(self.revolutions.size)

    @property
    def cheapest(self) -> int:
        """Row of least delta-v; of equal ones the soonest. Raises ValueError where there are no rows."""
        return int(np.flatnonzero(self.total_m_s <= self.total_m_s.min() + TIE_M_S)[0])

    @property
    def soonest(self) -> int:
        """Row of least time; of equal ones the cheapest. Raises ValueError where there are no rows."""
        same = np.flatnonzero(self.wait_s <= self.wait_s.min() + TIE_S)
        return int(same[np.argmin(self.total_m_s[same])])


def fitting(question: Question) -> Periods:
    """Every period that meets the slot within the limits.

    Source: phasing rule T_p = (2 pi m - L) / (n k), Vallado section 6.6; Kepler's third law; vis-viva.

    A geostationary slot 30 deg behind in one revolution while the slot makes one turn: 13/12 of the ring's period.

    >>> rows = fitting(Question(gm=3.986e14, ring_radius_m=42164e3, lead_rad=-math.pi / 6, other_m=42164e3,
    ...                         floor_m=6578e3, revolutions_max=1, within_s=26 * 3600.0))
    >>> float(round(rows.period_s[0] / orbits.period(3.986e14, 42164e3), 9)), float(round(rows.burn_now_m_s[0], 1))
    (1.083333333, 78.9)
    """
    ring = question.ring
    latest = question.within_s / ring.period_s + 1.0
    chosen = every_phasing(question.touch, np.array([question.lead_rad]), lambda _, m: m <= latest)
    k, m = chosen.revolutions, chosen.ring_revolutions
    level = k == 0
    period = np.where(level, ring.period_s, chosen.wait_s / np.maximum(k, 1))
    now = chosen.speed_m_s - question.arrival_speed_m_s
    later = ring.speed_m_s - chosen.speed_m_s
    order = np.lexsort((k, chosen.cost_m_s, chosen.wait_s))
    total, wait = chosen.cost_m_s[order], chosen.wait_s[order]
    return Periods(
        revolutions=k[order],
        ring_revolutions=m[order],
        period_s=period[order],
        other_m=(2.0 * orbits.semi_major(question.gm, period) - ring.radius_m)[order],
        burn_now_m_s=now[order],
        burn_later_m_s=later[order],
        total_m_s=total,
        wait_s=wait,
        gained_rad=np.asarray(2.0 * np.pi * (k - m)[order] + question.lead_rad, dtype=np.float64),
        slot_rad_per_s=slot_per_period(ring, k[order], period[order]),
        unbeaten=_unbeaten(wait, total),
    )


def slot_per_period(ring: Ring, revolutions: I, period_s: F) -> F:
    """How far behind its slot a craft ends for each second that its phasing period is too long, rad/s.

    As on the maneuver sheet (``robustness/sensitivity.py``): the later burn as planned in time and size, and the slot
    error as the mean over the turn after it. With k returns too late by a second each, n the ring's rate and
    u = v_p / v_c, the craft is then u k n short of the touch and has the radial speed (1 - u^2) k n v_c, whose
    eccentricity puts its mean longitude 2 (1 - u^2) k n further back; and the speed that the first burn had too much,
    v_c dT / (3 u a T), makes it fall back pi / (u a T) more until the middle of that turn (a in radii of the ring).
    Linear; derived from the vis-viva equation and Kepler's third law.

    Args:
        revolutions: k of each row.
        period_s: phasing period of each row.

    A hundred revolutions of nine tenths of the ring's period: 1.115 times the k n of the returns alone.

    >>> ring = Ring(radius_m=2e7, slots=1, rate_rad_s=1e-4, slot0_rad=0.0, gm=8e15)
    >>> share = slot_per_period(ring, np.array([100]), np.array([0.9 * ring.period_s])) / (100 * 1e-4)
    >>> float(share[0].round(3))
    1.115
    """
    axis = (period_s / ring.period_s) ** (2.0 / 3.0)
    speed = np.sqrt(2.0 - 1.0 / axis)
    late = ring.rate_rad_s * revolutions * (speed + 2.0 * (1.0 - speed**2))
    slope = late + np.pi / (speed * axis * period_s)
    return np.asarray(np.where(revolutions > 0, slope, 0.0), dtype=np.float64)


def _unbeaten(wait: F, total: F) -> NDArray[np.bool_]:
    """Mask of the rows that no other beats, for rows sorted by time; rows alike in both do not beat each other."""
    least = np.concatenate([[np.inf], np.minimum.accumulate(total)])
    sooner = least[np.searchsorted(wait, wait - TIE_S, side="left")]
    in_time = least[np.searchsorted(wait, wait + TIE_S, side="right")]
    return np.asarray((total < sooner - TIE_M_S) & (total <= in_time + TIE_M_S))


@dataclass(frozen=True, kw_only=True)
class Drift:
    """Where a period leads against the slot, as columns over whole revolutions 1, 2, ...

    ``error_rad`` is craft minus slot at the touch that ends the revolution, in (-pi, pi]; ``time_s`` counts from the
    first touch.
    """

    revolutions: I
    time_s: F
    error_rad: F

    @property
    def closest(self) -> int:
        """Row in which the slot is nearest, the first of equal ones. Raises ValueError where there are no rows."""
        return int(np.argmin(np.abs(self.error_rad)))


def drift(question: Question, period_s: float) -> Drift:
    """Follow a period that was really reached through the revolutions that the limits allow.

    Three quarters of the ring's period gain 90 deg a revolution: one for a slot 90 deg ahead, two are 90 deg too many.

    >>> asked = Question(gm=3.986e14, ring_radius_m=2e7, lead_rad=math.pi / 2, other_m=2e7, floor_m=1e5,
    ...                  revolutions_max=2)
    >>> [abs(round(float(error), 6)) for error in np.degrees(drift(asked, 0.75 * asked.ring.period_s).error_rad)]
    [0.0, 90.0]
    """
    most = question.revolutions_max
    if math.isfinite(question.within_s):
        most = min(most, math.floor(question.within_s / period_s * (1.0 + LIMIT_SLACK)))
    k = np.arange(1, most + 1)
    time: F = np.asarray(k * period_s, dtype=np.float64)
    return Drift(revolutions=k, time_s=time, error_rad=frames.wrap(-question.ring.phase(time, 0)))


def shortest_period_s(question: Question) -> float:
    """Period of an orbit that falls from the ring straight to the center: nothing that touches the ring is shorter."""
    return float(orbits.period(question.gm, 0.5 * question.ring_radius_m))


def reached(question: Question, period_s: float) -> Question:
    """The same question asked again from the orbit that a burn at the ring has really left the craft on.

    Raises:
        ValueError: no orbit that touches the ring has so short a period.
    """
    if not period_s > shortest_period_s(question):
        raise ValueError(f"no orbit that touches the ring has a period of {period_s!r} s")
    other = 2.0 * float(orbits.semi_major(question.gm, period_s)) - question.ring_radius_m
    return replace(question, other_m=other)


def within_radii(question: Question, radius_m: float) -> bool:
    """Whether an apsis keeps to floor and ceiling."""
    low, high = question.floor_m * (1.0 - LIMIT_SLACK), question.ceiling_m * (1.0 + LIMIT_SLACK)
    return low <= radius_m <= high


def least_left_m_s(question: Question) -> float:
    """The delta-v that is needed in any case to make the arrival orbit the ring, m/s."""
    return abs(question.ring.speed_m_s - question.arrival_speed_m_s)


def free_rows(question: Question, rows: Periods) -> NDArray[np.bool_]:
    """Mask of the rows whose stop on the way costs nothing more than going to the ring at once."""
    return np.asarray(rows.total_m_s <= least_left_m_s(question) + TIE_M_S)


@dataclass(frozen=True, kw_only=True)
class Serving:
    """A limit, and the nearest value of it that would leave a row: radii in m, time in s, or a number."""

    limit: Limit
    value: float
    serves: float


def binding(question: Question, floor_least_m: float) -> tuple[tuple[Serving, ...], ...]:
    """Say which limits leave no row, and what would serve.

    Args:
        floor_least_m: the radius below which no floor may be set (top of the atmosphere).

    Returns:
        Sets of limits, as few limits to a set as it takes: giving way in all limits of any one set leaves a row.
        Where a set has several, the values belong to the row with the least relative excess.
    """
    given: list[Limit] = []
    if question.floor_m > floor_least_m:
        given.append("floor")
    if math.isfinite(question.ceiling_m):
        given.append("ceiling")
    given.append("revolutions")
    if math.isfinite(question.within_s):
        given.append("within")
    for size in range(1, len(given) + 1):
        found = [_serving(question, floor_least_m, several) for several in itertools.combinations(given, size)]
        if any(found):
            return tuple(several for several in found if several)
    return ()


def _serving(question: Question, floor_least_m: float, several: tuple[Limit, ...]) -> tuple[Serving, ...]:
    eased = question
    if "floor" in several:
        eased = replace(eased, floor_m=floor_least_m)
    if "ceiling" in several:
        eased = replace(eased, ceiling_m=math.inf)
    if "within" in several:
        eased = replace(eased, within_s=math.inf)
    if "revolutions" in several:
        eased = replace(eased, revolutions_max=_least_revolutions(eased))
    rows = fitting(eased)
    if not len(rows):
        return ()
    low = np.minimum(rows.other_m, question.ring_radius_m)
    high = np.maximum(rows.other_m, question.ring_radius_m)
    needs: dict[Limit, tuple[float, F, F]] = {
        "floor": (question.floor_m, low, (question.floor_m - low) / question.ring_radius_m),
        "ceiling": (question.ceiling_m, high, (high - question.ceiling_m) / question.ring_radius_m),
        "revolutions": (
            question.revolutions_max,
            rows.revolutions.astype(np.float64),
            (rows.revolutions - question.revolutions_max) / max(1, question.revolutions_max),
        ),
        "within": (question.within_s, rows.wait_s, (rows.wait_s - question.within_s) / question.ring.period_s),
    }
    best = int(np.argmin(sum(np.maximum(needs[limit][2], 0.0) for limit in several)))
    return tuple(Serving(limit=limit, value=needs[limit][0], serves=float(needs[limit][1][best])) for limit in several)


def _least_revolutions(question: Question) -> int:
    """Fewest revolutions with which some wait keeps the other limits, 0 where none does up to `REVOLUTIONS_SOUGHT`."""
    touch = question.touch
    wait = np.arange(REVOLUTIONS_SOUGHT + 1) - question.lead_rad / (2.0 * np.pi)
    within = question.within_s / touch.ring.period_s * (1.0 + LIMIT_SLACK)
    wait = wait[(wait > 0.0) & (wait <= within)]
    k = np.maximum(np.ceil(wait / (touch.ratio_high * (1.0 + LIMIT_SLACK))), 1.0)
    fits = k * touch.ratio_low * (1.0 - LIMIT_SLACK) <= wait
    return int(k[fits].min()) if fits.any() else 0
