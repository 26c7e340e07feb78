"""A limit that may be loosened: how far, in which steps, and what the scenario is then.

A value is tried as it is printed: in the unit of its key, on a step of that unit, so that what a reader puts into the
file is what was tried.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from ...models.keys import LONGEST_S
from ...models.opportunities import turn_s
from ...models.scenario import LimitSpec, Pad, RingSpec, Scenario
from ..problem.liftoff_windows import PASS_TURNS
from ..problem.ring_phase import problems

DEGREE = math.radians(1.0)

WIDEST_RAD = 5.0 * DEGREE
"""Larger errors and tilts than this are not proposed."""

WithValue = Callable[[Scenario, float], Scenario]
"""The scenario with another value of a limit, SI."""


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
        return 1 if self.least is None else self.steps_to(self.least)

    @property
    def count(self) -> int:
        """Steps to the loosest value."""
        away = abs(self.most / (self.step * self.unit) - self._base)
        return max(math.floor(away + 1e-9) if self._sign > 0 else math.ceil(away - 1e-9), 1)

    def steps_to(self, value: float) -> int:
        """Steps to the first value that allows another, SI; to the loosest at most."""
        away = self._sign * (value / (self.step * self.unit) - self._base)
        return min(max(math.ceil(away - 1e-9), 1), self.count)

    def value(self, steps: int) -> float:
        """The value so many steps looser, as it is read back from what is printed, SI."""
        printed = round((self._base + self._sign * steps) * self.step, 6)
        return printed * self.unit if self._sign > 0 else max(printed * self.unit, self.most)


def with_limit(change: Callable[[LimitSpec, float], LimitSpec]) -> WithValue:
    """Another value in the table of limits."""
    return lambda scenario, value: replace(scenario, limits=change(scenario.limits, value))


def with_ring(change: Callable[[RingSpec, float], RingSpec]) -> WithValue:
    """Another value in the table of the ring."""
    return lambda scenario, value: replace(scenario, ring=change(scenario.ring, value))


def with_pad(index: int, change: Callable[[Pad, float], Pad]) -> WithValue:
    """Another value in the table of one site."""

    def apply(scenario: Scenario, value: float) -> Scenario:
        pads = list(scenario.pads)
        pads[index] = change(pads[index], value)
        return replace(scenario, pads=tuple(pads))

    return apply


def site_key(scenario: Scenario, pad: Pad, name: str) -> str:
    """The key of a limit of a site, which names the site where there are several."""
    return f"launch.{name}" if len(scenario.pads) == 1 else f"launch.{pad.name}.{name}"


def long_enough(scenario: Scenario) -> float:
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
        site = scenario.pads[way.pad]
        # a site that only passes through the plane waits for its pass, and for one from which a slot can be met
        turn = 0.0 if way.place is None else turn_s(way.place)
        passes = (problem.launches + PASS_TURNS) * turn if math.isfinite(turn) else 0.0
        closed = sum(end - begin for begin, end in site.blackouts_s)
        pads = max(pads, problem.launches * (site.turnaround_s + synodic) + passes + closed + way.after_s + parked)
    return min(start + pads + turns * period, LONGEST_S)
