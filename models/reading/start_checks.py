"""Whether a craft in space can be where its orbit has it: not under the ground or in the air at the epoch."""

from __future__ import annotations

import math

from ..readouts import brief
from ..scenario import Orbit, Scenario
from .document import Table

GRAIN_H = 1e-4
"""A moment that would be accepted is rounded down to this."""


def check_starts(scenario: Scenario, root: Table) -> None:
    """Raise InputError for the first craft whose orbit leads through the ground, or the air, where it is counted on.

    Such an orbit holds between one way up and the next way down only: at the epoch the craft must be on the same arc
    as at the apsis that is named.
    """
    for craft, table in zip(scenario.craft, root.tables["craft"], strict=True):
        inside, orbit = table.table("orbit") or table, craft.orbit
        if orbit is None:
            continue
        body, gm = scenario.body, scenario.body.gm
        top = body.radius_m + body.atmosphere_top_m
        air = "the ground" if orbit.periapsis_m < body.radius_m else "the air"
        if orbit.apoapsis_m < top:
            key = next(key for key in ("altitude", "radius", "period", "apoapsis", "opm", "oem") if key in inside)
            within = "under" if orbit.apoapsis_m < body.radius_m else "in"
            raise inside.refused(
                key,
                f"has {craft.name} {within} {air} all the way round: give it an orbit above the air, which reaches up "
                f"to {brief(body.atmosphere_top_m / 1e3)} km.",
            )
        if orbit.periapsis_m >= top or _above(gm, orbit, top):
            continue
        free = math.floor(_rise_s(gm, orbit, max(scenario.floor_m, top)) / 3600.0 / GRAIN_H) * GRAIN_H
        key = next(key for key in ("at_time", "periapsis", "opm", "oem") if key in inside)
        raise inside.refused(
            key,
            f"has {craft.name} pass through {air} between the epoch and that apsis, periapsis at "
            f"{brief((orbit.periapsis_m - body.radius_m) / 1e3)} km: such an orbit holds for one arc above {air} only. "
            f'at = "apoapsis" with at_h = 0 to {brief(free)} would be accepted, the craft then climbing at the epoch; '
            "where its apoapsis is later, count the times of the scenario from a later epoch.",
        )


def _above(gm: float, orbit: Orbit, top_m: float) -> bool:
    """Whether a craft is above a radius from the epoch to its given apoapsis; for a periapsis, at the epoch."""
    period, rise = _period_s(gm, orbit), _rise_s(gm, orbit, top_m)
    if orbit.at == "apoapsis":
        return abs(orbit.at_s) <= rise
    until = (orbit.at_s + 0.5 * period) % period
    return min(until, period - until) <= rise


def _period_s(gm: float, orbit: Orbit) -> float:
    return 2.0 * math.pi * math.sqrt((0.5 * (orbit.periapsis_m + orbit.apoapsis_m)) ** 3 / gm)


def _rise_s(gm: float, orbit: Orbit, radius_m: float) -> float:
    """Time from passing a radius on the way up to the apoapsis, s (Kepler's equation)."""
    semi = 0.5 * (orbit.periapsis_m + orbit.apoapsis_m)
    shape = (orbit.apoapsis_m - orbit.periapsis_m) / (2.0 * semi)
    eccentric = math.acos(max(-1.0, min(1.0, (1.0 - radius_m / semi) / shape)))
    return 0.5 * _period_s(gm, orbit) - math.sqrt(semi**3 / gm) * (eccentric - shape * math.sin(eccentric))
