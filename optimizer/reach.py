"""Why no site may launch into the ring at all, and what would let it.

A question of geometry that comes before any catalogue: whether a flight azimuth is allowed that leads into the plane.
"""

from __future__ import annotations

import math

import numpy as np

from ..models import coast
from ..models.opportunities import flight_azimuth
from ..models.ring import Ring
from ..models.scenario import Pad, Scenario
from ..models.windows import SiteAndPlane, azimuth_of_least_tilt
from .outcome import Bind, Infeasible
from .problem import problems

GRAIN_RAD = math.radians(0.01)
"""A corridor's end that would serve is told to this."""


def blocked_sites(scenario: Scenario) -> Infeasible | None:
    """What keeps every craft on the ground there; None where somebody may go up, or nobody is to."""
    problem = problems(scenario)[0]
    if not problem.launches or problem.ways:
        return None
    closed = [(pad, bind) for pad in scenario.pads for bind in _azimuths(scenario, problem.ring, pad)]
    names = ", ".join(dict.fromkeys(pad.name for pad, _ in closed))
    return Infeasible(
        binds=tuple(bind for _, bind in closed),
        together=False,
        reason=f"no flight azimuth into the ring plane lies in the corridor of {names}",
    )


def _azimuths(scenario: Scenario, ring: Ring, pad: Pad) -> list[Bind]:
    """The end of a site's corridor that is nearest to a flight azimuth into the plane, with that azimuth."""
    if pad.corridor_rad is None:
        return []
    body = scenario.body
    inertial = azimuth_of_least_tilt(SiteAndPlane.of(body, pad, ring), np.zeros(1))
    ways = [coast.ascent(body, ring, pad, 0, insertion) for insertion in pad.insertions]
    wanted = [float(flight_azimuth(body, pad, way.insertion_speed_m_s, inertial)[0]) for way in ways]
    first, last = pad.corridor_rad
    turn = 2.0 * math.pi
    before, azimuth_before = min(((first - azimuth) % turn, azimuth) for azimuth in wanted)
    after, azimuth_after = min(((azimuth - last) % turn, azimuth) for azimuth in wanted)
    name = "launch" if len(scenario.pads) == 1 else f"launch.{pad.name}"
    if before <= after:
        serves = math.floor(azimuth_before / GRAIN_RAD) * GRAIN_RAD
        return [Bind(limit=f"{name}.azimuth_from", value=first, serves=serves)]
    serves = math.ceil(azimuth_after / GRAIN_RAD) * GRAIN_RAD
    return [Bind(limit=f"{name}.azimuth_to", value=last, serves=serves)]
