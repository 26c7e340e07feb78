"""Why no plan keeps the limits: which limit binds, and the nearest value of it that would serve."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from ...models.readouts import plain
from ...models.scenario import Craft, LimitSpec, Scenario
from ..catalogue.catalogue import catalogue
from ..catalogue.problem import Problem, problems
from ..outcome import Bind, Infeasible
from ..starts import nearest_start
from .no_launch import blocked_sites
from .selection import Selection

Progress = Callable[[str], None]

REVOLUTIONS_MOST = 60
"""More phasing revolutions than this are not proposed."""


@dataclass(frozen=True, kw_only=True)
class Loosening:
    """A limit that may be loosened.

    ``key`` as in ``limits.clearance``; ``now`` its value in SI units; ``most`` the loosest value that is tried;
    ``grain`` the step, in SI units, to which the value that serves is rounded on the feasible side; ``apply`` gives the
    scenario with another value.
    """

    key: str
    now: float
    most: float
    grain: float
    apply: Callable[[Scenario, float], Scenario]


def feasible(scenario: Scenario) -> bool:
    """Whether any plan keeps all limits."""
    return any(
        _affordable(problem) and Selection(catalogue(problem)).best(("finish",), ties="none") is not None
        for problem in problems(scenario)
    )


def _affordable(problem: Problem) -> bool:
    """Whether every craft on the ground can pay for arriving in place, the least that any launch costs."""
    least = min(
        (w.entry_delta_v_m_s + problem.touch(w.arrival_speed_m_s).level_cost for w in problem.ways), default=math.inf
    )
    return all(c.start is not None or c.delta_v_allowed_m_s >= least - 1e-9 for c in problem.classes)


def diagnose(scenario: Scenario, progress: Progress = lambda _: None) -> Infeasible:
    """The limits that bind, each with the nearest value that would serve; in pairs where no single one would do."""
    blocked = blocked_sites(scenario)
    if blocked is not None:
        return blocked
    candidates = list(_loosenings(scenario))
    alone = []
    for item in candidates:
        progress(f"no plan; trying {item.key}")
        if feasible(item.apply(scenario, item.most)):
            alone.append(Bind(limit=item.key, value=item.now, serves=_nearest(scenario, item)))
    near = near_start_text(scenario)
    if alone:
        return Infeasible(binds=tuple(alone), together=False, reason=near)
    for i, first in enumerate(candidates):
        for second in candidates[i + 1 :]:
            progress(f"no plan; trying {first.key} with {second.key}")
            loose = second.apply(first.apply(scenario, first.most), second.most)
            if not feasible(loose):
                continue
            one = _nearest(second.apply(scenario, second.most), first)
            two = _nearest(first.apply(scenario, one), second)
            return Infeasible(
                binds=(
                    Bind(limit=first.key, value=first.now, serves=one),
                    Bind(limit=second.key, value=second.now, serves=two),
                ),
                together=True,
                reason=near,
            )
    everything = scenario
    for item in candidates:
        everything = item.apply(everything, item.most)
    if candidates and feasible(everything):
        return Infeasible(
            binds=tuple(Bind(limit=item.key, value=item.now, serves=None) for item in candidates),
            together=True,
            reason=f"three or more limits bind at once{near and '; '}{near}",
        )
    reason = "none of the limits that may be loosened would serve at any value, alone or with the others"
    falling = _falling(scenario)
    if falling:
        reason = f"{falling} falls below the lowest altitude allowed before it touches the ring"
    return Infeasible(binds=(), together=False, reason=near or reason)


def _falling(scenario: Scenario) -> str:
    """The first craft that comes down into the ground or the air before its first touch; empty for none."""
    top_m = scenario.body.radius_m + scenario.body.atmosphere_top_m
    for group in problems(scenario)[0].classes:
        if group.start is not None and group.start.passed_other and group.start.other_m < top_m:
            return group.names[0]
    return ""


def near_start_text(scenario: Scenario) -> str:
    """Who starts inside the separation of a craft that stays, and how near; empty where nobody does."""
    found = nearest_start(problems(scenario)[0])
    if found is None:
        return ""
    limit_km = plain(scenario.limits.separation_m / 1e3).removesuffix(".0")
    return (
        f"{found.craft} starts {plain(found.distance_m / 1e3)} km from {found.kept}, which is in place, and "
        f"limits.separation keeps {limit_km} km from the epoch on"
    )


def _nearest(scenario: Scenario, item: Loosening) -> float:
    """The value closest to the present one that serves, on the grain, by halving; ``item.most`` is known to serve."""
    low, high = 0, max(math.ceil(abs(item.most - item.now) / item.grain), 1)
    sign = 1.0 if item.most > item.now else -1.0
    base = math.floor(item.now / item.grain + 1e-9) if sign > 0 else math.ceil(item.now / item.grain - 1e-9)

    def value(steps: int) -> float:
        loosened = (base + sign * steps) * item.grain
        return min(loosened, item.most) if sign > 0 else max(loosened, item.most)

    # stride out first: the answer is usually near, and looser limits cost more to look at
    stride = 1
    while stride < high and not feasible(item.apply(scenario, value(stride))):
        low, stride = stride, stride * 4
    high = min(high, stride)
    while high - low > 1:
        middle = (low + high) // 2
        if feasible(item.apply(scenario, value(middle))):
            high = middle
        else:
            low = middle
    return value(high)


def _loosenings(scenario: Scenario) -> Iterator[Loosening]:
    limits = scenario.limits
    body = scenario.body

    def limit(change: Callable[[LimitSpec, float], LimitSpec]) -> Callable[[Scenario, float], Scenario]:
        return lambda s, value: replace(s, limits=change(s.limits, value))

    if limits.clearance_m > 0.0:
        yield Loosening(
            key="limits.clearance",
            now=limits.clearance_m,
            most=0.0,
            grain=100.0,
            apply=limit(lambda held, v: replace(held, clearance_m=v)),
        )
    if math.isfinite(limits.finish_within_s):
        yield Loosening(
            key="limits.finish_within",
            now=limits.finish_within_s,
            most=_long_enough(scenario),
            grain=86.4,
            apply=limit(lambda held, v: replace(held, finish_within_s=v)),
        )
    if math.isfinite(limits.wait_within_s):
        yield Loosening(
            key="limits.wait_within",
            now=limits.wait_within_s,
            most=_long_enough(scenario),
            grain=86.4,
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
            grain=1.0,
            apply=limit(lambda held, v: replace(held, revolutions_max=round(v))),
        )
    if math.isfinite(limits.apoapsis_max_m):
        yield Loosening(
            key="limits.apoapsis_max",
            now=limits.apoapsis_max_m - body.radius_m,
            most=50.0 * scenario.ring.radius_m - body.radius_m,
            grain=1000.0,
            apply=limit(lambda held, v: replace(held, apoapsis_max_m=v + body.radius_m)),
        )
    if limits.separation_m > 0.0:
        yield Loosening(
            key="limits.separation",
            now=limits.separation_m,
            most=0.0,
            grain=100.0,
            apply=limit(lambda held, v: replace(held, separation_m=v)),
        )
    for index, pad in enumerate(scenario.pads):
        if math.isfinite(pad.until_s):
            yield Loosening(
                key="launch.until" if len(scenario.pads) == 1 else f"launch.{pad.name}.until",
                now=pad.until_s,
                most=_long_enough(scenario),
                grain=36.0,
                apply=_with_last_date(index),
            )
    seen: set[Craft] = set()
    for craft in scenario.craft:
        alike = replace(craft, name="")
        if craft.stay or craft.propellant_kg is None or craft.dry_mass_kg is None or alike in seen:
            continue
        seen.add(alike)
        yield Loosening(
            key=f"craft.{craft.name}.propellant",
            now=craft.propellant_kg,
            most=craft.dry_mass_kg * 50.0,
            grain=0.1,
            apply=_with_propellant(alike),
        )


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
    return start + pads + turns * period
