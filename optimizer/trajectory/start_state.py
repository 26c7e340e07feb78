"""Where a course begins: the state at insertion or in space, and how much later than planned a craft lifts off."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ...models import oblate_coast as coast
from ...models import orbits
from ...models.launch import Ascent
from ...models.oblateness import node_behind, ring_state
from ...models.opportunities import launch_state, tilt
from ...models.scenario import Orbit
from ..problem.options import F, Options
from ..problem.problem import Problem


def later(problem: Problem, way: Ascent, options: Options) -> F:
    """How much later than at the pass craft lift off by a way, s, so that their planes are the ring's at the end.

    Over an oblate body the node of a lower orbit drifts by another rate than the ring's. A first guess by secular
    rates, to be corrected by the flight; 0 over a round body, and for a site that never leaves the plane.

    Args:
        options: n of them, all by that way.

    Returns:
        Shape (n,).
    """
    ring, body = problem.ring, problem.scenario.body
    if way.place is None or not problem.oblate or ring.node_rate_rad_s == 0.0:
        return np.zeros(len(options))
    low: ArrayLike = way.insertion.radius_m if way.parking else way.periapsis_m
    semi = orbits.semi_major_from_speed(ring.gm, ring.radius_m, options.speed_m_s)
    phasing = np.where(options.revolutions > 0, options.phasing_s, 0.0)
    stages: list[tuple[ArrayLike, ArrayLike, ArrayLike]] = [
        (low, low, options.parking_wait_s if way.parking else 0.0),
        (low, ring.radius_m, way.coast_s),
        (np.where(options.revolutions > 0, 2.0 * semi - ring.radius_m, ring.radius_m), ring.radius_m, phasing),
    ]
    behind = node_behind(body, ring.inclination_rad, ring.radius_m, stages)
    return np.asarray(np.broadcast_to(behind / way.place.relative_rate_rad_s, (len(options),)))


def inserted(
    problem: Problem, way: Ascent, liftoff_s: float, late_s: float, time_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """State at insertion: on the given apsides, the apoapsis laid on the ring; a parking orbit keeps its height.

    From a site that passes through the plane: in the launch plane as it is at the liftoff planned, turned on with the
    body by the time that the craft lifts off later.
    """
    ring, insertion = problem.ring, way.insertion
    angle_rad = float(way.insertion_angle(liftoff_s))
    plane = (ring.inclination_rad, ring.node(time_s, way.plane))
    if way.place is not None:
        plane = (ring.inclination_rad, ring.node(liftoff_s, way.plane) + way.place.spin_rad_s * late_s)
        if float(tilt(way, liftoff_s)) > 0.0:
            launched = launch_state(way, liftoff_s)
            plane = (launched.inclination_rad, launched.node_rad + way.place.spin_rad_s * late_s)
            angle_rad = launched.site_rad + way.insertion_angle0_rad
    if problem.oblate and (way.parking or insertion.circular):
        radius = insertion.radius_m if way.parking else ring.radius_m
        return ring_state(problem.scenario.body, radius, angle_rad, *plane)
    periapsis, apoapsis = insertion.periapsis_m, ring.radius_m
    if way.parking:
        periapsis = apoapsis = insertion.radius_m
    return coast.apsis_state(ring.gm, periapsis, apoapsis, way.insertion_anomaly_rad, angle_rad, plane)


def state_in_space(problem: Problem, orbit: Orbit, on_ring: bool, time_s: float) -> tuple[np.ndarray, np.ndarray]:
    """State at a time of a craft that is in space already: on the ring, by Kepler's equation, or flown there."""
    ring, body = problem.ring, problem.scenario.body
    if not problem.oblate:
        return coast.point_mass_state(ring, orbit, time_s, on_ring=on_ring)
    if on_ring:
        angle = orbit.angle_rad + ring.rate_rad_s * (time_s - orbit.at_s)
        return ring_state(body, ring.radius_m, angle, ring.inclination_rad, ring.node(time_s, orbit.plane))
    return coast.state_as_given(body, ring, orbit, time_s)
