"""Limits that may be loosened: how far, in which steps, and what the scenario is then.

A value is tried as it is printed: in the unit of its key, on a step of that unit, so that what a reader puts into the
file is what was tried.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from ...models.keys import LONGEST_S
from ...models.scenario import Craft, LimitSpec, RingSpec, Scenario
from ..problem.ring_phase import problems

REVOLUTIONS_MOST = 60
"""More phasing revolutions than this are not proposed."""

HEAVIEST_KG = 1e9
KM, HOUR, DAY, DEGREE = 1e3, 3600.0, 86400.0, math.radians(1.0)

WIDEST_RAD = 5.0 * DEGREE
"""Larger errors and tilts than this are not proposed."""


@dataclass(frozen=True, kw_only=True)
class Loosening:
    """A limit that may be loosened.

    ``key`` as in ``limits.clearance``; ``now`` its value in SI units; ``most`` the loosest value that is tried;
    ``step`` in the unit of the key, to which the value that serves is rounded on the feasible side; ``unit`` that unit
    in SI units; ``apply`` gives the scenario with another value; ``least`` the first value that may serve, where
    that is known.
    """

    key: str
    now: float
    most: float
    step: float
    unit: float
    apply: Callable[[Scenario, float], Scenario]
    least: float | None = None

    @property
    def _sign(self) -> float:
        return 1.0 if self.most > self.now else -1.0

    @property
    def _base(self) -> int:
        now = self.now / (self.step * self.unit)
        return math.floor(now + 1e-9) if self._sign > 0 else math.ceil(now - 1e-9)

    @property
    def first(self) -> int:
        """Steps to the first value that may serve."""
        if self.least is None:
            return 1
        away = self._sign * (self.least / (self.step * self.unit) - self._base)
        return min(max(math.ceil(away - 1e-9), 1), self.count)

    @property
    def count(self) -> int:
        """Steps to the loosest value."""
        away = abs(self.most / (self.step * self.unit) - self._base)
        return max(math.floor(away + 1e-9) if self._sign > 0 else math.ceil(away - 1e-9), 1)

    def value(self, steps: int) -> float:
        """The value so many steps looser, as it is read back from what is printed, SI."""
        printed = round((self._base + self._sign * steps) * self.step, 6)
        return printed * self.unit if self._sign > 0 else max(printed * self.unit, self.most)


def loosenings(scenario: Scenario) -> Iterator[Loosening]:
    """Every limit that a scenario sets and that may be loosened, one after another."""
    limits = scenario.limits
    body = scenario.body

    def limit(change: Callable[[LimitSpec, float], LimitSpec]) -> Callable[[Scenario, float], Scenario]:
        return lambda s, value: replace(s, limits=change(s.limits, value))

    if limits.clearance_m > 0.0:
        yield Loosening(
            key="limits.clearance",
            now=limits.clearance_m,
            most=0.0,
            step=0.1,
            unit=KM,
            apply=limit(lambda held, v: replace(held, clearance_m=v)),
        )
    if math.isfinite(limits.finish_within_s):
        yield Loosening(
            key="limits.finish_within",
            now=limits.finish_within_s,
            most=_long_enough(scenario),
            step=0.001,
            unit=DAY,
            apply=limit(lambda held, v: replace(held, finish_within_s=v)),
        )
    if math.isfinite(limits.wait_within_s):
        yield Loosening(
            key="limits.wait_within",
            now=limits.wait_within_s,
            most=_long_enough(scenario),
            step=0.001,
            unit=DAY,
            apply=limit(lambda held, v: replace(held, wait_within_s=v)),
        )
    # options grow with the square of the revolutions, and from a pad with every moment of liftoff
    on_ground = any(c.orbit is None and not c.stay for c in scenario.craft)
    most = min(2 * limits.revolutions_max + 10, REVOLUTIONS_MOST) if on_ground else REVOLUTIONS_MOST
    if limits.revolutions_max < most:
        yield Loosening(
            key="limits.revolutions_max",
            now=float(limits.revolutions_max),
            most=float(most),
            step=1.0,
            unit=1.0,
            apply=limit(lambda held, v: replace(held, revolutions_max=round(v))),
        )
    if math.isfinite(limits.apoapsis_max_m):
        yield Loosening(
            key="limits.apoapsis_max",
            now=limits.apoapsis_max_m - body.radius_m,
            most=50.0 * scenario.ring.radius_m - body.radius_m,
            step=1.0,
            unit=KM,
            apply=limit(lambda held, v: replace(held, apoapsis_max_m=v + body.radius_m)),
        )
    if limits.separation_m > 0.0:
        yield Loosening(
            key="limits.separation",
            now=limits.separation_m,
            most=0.0,
            step=0.1,
            unit=KM,
            apply=limit(lambda held, v: replace(held, separation_m=v)),
        )
    for index, pad in enumerate(scenario.pads):
        if math.isfinite(pad.until_s):
            yield Loosening(
                key="launch.until" if len(scenario.pads) == 1 else f"launch.{pad.name}.until",
                now=pad.until_s,
                most=_long_enough(scenario),
                step=0.01,
                unit=HOUR,
                apply=_with_last_date(index),
            )
    ring: tuple[tuple[str, float, Callable[[RingSpec, float], RingSpec]], ...] = (
        ("ring.tolerance", scenario.ring.tolerance_rad, lambda held, v: replace(held, tolerance_rad=v)),
        ("ring.tilt_tolerance", scenario.ring.tilt_tolerance_rad, lambda held, v: replace(held, tilt_tolerance_rad=v)),
    )
    for name, now, change in ring:
        if now < WIDEST_RAD:
            yield Loosening(key=name, now=now, most=WIDEST_RAD, step=0.01, unit=DEGREE, apply=_with_ring(change))
    seen: set[Craft] = set()
    for craft in scenario.craft:
        alike = replace(craft, name="")
        if craft.stay or craft.propellant_kg is None or craft.dry_mass_kg is None or alike in seen:
            continue
        seen.add(alike)
        yield Loosening(
            key=f"craft.{craft.name}.propellant",
            now=craft.propellant_kg,
            most=min(craft.dry_mass_kg * 50.0, HEAVIEST_KG),
            step=0.1,
            unit=1.0,
            apply=_with_propellant(alike),
        )


def _with_ring(change: Callable[[RingSpec, float], RingSpec]) -> Callable[[Scenario, float], Scenario]:
    return lambda scenario, value: replace(scenario, ring=change(scenario.ring, value))


def _with_last_date(index: int) -> Callable[[Scenario, float], Scenario]:
    def apply(scenario: Scenario, value: float) -> Scenario:
        pads = list(scenario.pads)
        pads[index] = replace(pads[index], until_s=value)
        return replace(scenario, pads=tuple(pads))

    return apply


def _with_propellant(alike: Craft) -> Callable[[Scenario, float], Scenario]:
    """All craft alike to one get the same other load: they would be ordered alike."""

    def apply(scenario: Scenario, value: float) -> Scenario:
        def changed(craft: Craft) -> Craft:
            same = replace(craft, name="", propellant_kg=alike.propellant_kg) == alike
            return replace(craft, propellant_kg=value) if same else craft

        return replace(scenario, craft=tuple(changed(c) for c in scenario.craft))

    return apply


def _long_enough(scenario: Scenario) -> float:
    """A time in which every kind of plan could be carried out, s."""
    problem = problems(
        replace(scenario, limits=replace(scenario.limits, finish_within_s=math.inf, wait_within_s=math.inf))
    )[0]
    period = problem.ring.period_s
    turns = 2.0 * (max(scenario.limits.revolutions_max, 12) + 2)
    start = max([c.ready_s for c in scenario.craft] + [p.ready_s for p in scenario.pads], default=0.0)
    pads = 0.0
    for way in problem.ways:
        closing = abs(problem.ring.rate_rad_s - way.site_rate_rad_s)
        synodic = 2.0 * math.pi / closing if closing > 1e-12 else 0.0
        parked = 0.0
        if way.parking_rate_rad_s is not None:
            parked = 2.0 * math.pi / abs(way.parking_rate_rad_s - problem.ring.rate_rad_s)
        turnaround = scenario.pads[way.pad].turnaround_s
        pads = max(pads, problem.launches * (turnaround + synodic) + way.after_s + parked)
    return min(start + pads + turns * period, LONGEST_S)
