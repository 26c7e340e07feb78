"""Craft that a carrier drops turn back into the ring's plane, from which the carrier's drifts while it goes round.

Over an oblate body the node of the carrier's orbits drifts by another rate than the ring's, and so does that of the
orbit in which a craft phases. What is then more than the ring allows is turned back as craft in space do it
(`drifted_plane.py`): in the burns at the drop, and in one by itself within half a turn after the last of these.
"""

from __future__ import annotations

import numpy as np

from ...models import orbits
from ...models.launch import Ascent
from ...models.oblateness import node_behind
from ...models.ring import Ring
from ...models.scenario import Body
from ..problem.options import F, I
from ..problem.phasing import Phasings
from .carrier_drop_orbits import turn_s
from .carrier_turns import Turned
from .drifted_plane import DRIFT_RAD, INSIDE_RAD, shared


def behind(body: Body, ring: Ring, way: Ascent, waited_s: F, rides: tuple[tuple[F, I], ...], chosen: Phasings) -> F:
    """By how much planes have drifted apart from launch to slot, rad, (n,); signed as nodes are behind.

    Args:
        waited_s: in the parking orbit, (n,).
        rides: speeds at the ring of the carrier's orbits, and the passes in each, (n,) each.
    """

    def other(speed_m_s: F) -> F:
        return np.asarray(orbits.other_apsis(ring.gm, ring.radius_m, speed_m_s))

    level = np.full(waited_s.size, ring.radius_m)
    parked = np.full(waited_s.size, way.insertion.radius_m)
    stages = [
        (parked, parked, waited_s),
        (other(np.full(waited_s.size, way.arrival_speed_m_s)), level, np.full(waited_s.size, way.coast_s)),
        (other(chosen.speed_m_s), level, chosen.wait_s),
    ]
    for speed, passes in rides:
        each, at = np.unique(speed, return_inverse=True)
        every = np.array([turn_s(ring, float(one)) for one in each])
        stages.append((other(speed), level, passes * every[at.reshape(-1)]))
    return np.asarray(node_behind(body, ring.inclination_rad, ring.radius_m, stages) * np.sin(ring.inclination_rad))


def turned_back(
    ring: Ring, apart_rad: F, touch_rad: F, before_m_s: float, chosen: Phasings, tolerance_rad: float
) -> Turned:
    """What turns planes back that far apart to what the ring allows, and no further.

    Args:
        apart_rad: see `behind`, (n,).
        touch_rad: argument of latitude of the drops, (n,).
        before_m_s: speed at the ring of the orbit that they leave.
        tolerance_rad: what is left as it is.
    """
    back = np.sign(apart_rad) * (np.abs(apart_rad) - max(tolerance_rad - INSIDE_RAD, 0.0))
    back = np.where(np.abs(apart_rad) > max(tolerance_rad, DRIFT_RAD), back, 0.0)
    phases = chosen.revolutions > 0
    first = np.abs(np.where(phases, chosen.speed_m_s, ring.speed_m_s) - before_m_s)
    along = first + np.where(phases, np.abs(ring.speed_m_s - chosen.speed_m_s), 0.0)
    turn = shared(ring, along, back, touch_rad)
    ahead = np.maximum(np.remainder(turn.apart_angle_rad - touch_rad + 1e-9, np.pi) - 1e-9, 0.0)
    sign = np.where(np.cos(touch_rad + ahead - turn.apart_angle_rad) > 0.0, 1.0, -1.0)
    turns = back != 0.0
    return Turned(
        fold_rad=np.where(turns, turn.at_touch_rad, 0.0),
        rest_rad=np.where(turns, sign * turn.apart_rad, 0.0),
        after_s=np.where(turns, ahead / ring.rate_rad_s, 0.0),
        delta_v_m_s=np.where(turns, turn.delta_v_m_s, chosen.cost_m_s),
    )
