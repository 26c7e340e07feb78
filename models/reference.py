"""What a slot is under further forces: where it would be that a nominal craft in slot 0 flies to.

The reference starts at the epoch in slot 0 of plane 0 as `ring_state` puts it there, and is flown twice: under all the
forces chosen, and under the body's bulge alone, for which ``ring.py`` says what a slot is. Both flights are measured by
smooth means over the same window (``flight/smooth_mean.py``); by what they differ in mean angle, mean rate, node and
inclination the slots under the forces differ from those of ``ring.py``. So with no forces they are the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from .flight.flown import Flight, Itinerary
from .flight.forces import Field
from .flight.integrate import fly
from .flight.slot_error import Measured
from .flight.smooth_mean import measure_smoothly, window_s
from .frames import plane_axes
from .oblateness import ring_state
from .ring import Ring
from .scenario import Body
from .surroundings import NO_SURFACE, Surface

RELATIVE = 1e-11
"""Error allowed in a step. With ten times as much a rate was off by 0.2 deg a year over the Moon (measured)."""

LEAST_LEAN = 1e-3
"""Sine of the inclination below which a plane has no node to speak of: the ring's own plane is kept (0.06 deg)."""


def reference(ring: Ring, body: Body, end_s: float, surface: Surface = NO_SURFACE) -> Itinerary:
    """The nominal craft in slot 0 of plane 0, from the epoch until a moment.

    Args:
        ring: under the bulge alone.
        surface: what air and light meet of it; with none, drag and sunlight leave it alone.
    """
    position, velocity = ring_state(body, ring.radius_m, ring.slot0_rad, ring.inclination_rad, ring.node_rad)
    return Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=end_s, surface=surface)


def slots_and_flights(
    ring: Ring,
    body: Body,
    field: Field,
    from_s: float,
    surface: Surface = NO_SURFACE,
    others: Sequence[Itinerary] = (),
) -> tuple[Ring, tuple[Flight, ...]]:
    """The ring whose slots hold over the window that begins at a moment, under a field.

    Args:
        ring: under the bulge alone.
        field: all the forces chosen.
        from_s: since the epoch.
        surface: what air and light meet of the reference.
        others: stepped with the reference.

    Returns:
        The ring with rate, phase, node and inclination so that its phase and node are right in the middle of the
        window, and turn there at the mean rates (its radius stays: a ring is named by it), and the flights of others.

    Raises:
        FlightError: the reference comes down or cannot be followed.
    """
    if not field.terms:
        return ring, fly(others, field, relative=RELATIVE)
    nominal = reference(ring, body, from_s + window_s(ring), surface)
    under, *beside = fly([nominal, *others], field, relative=RELATIVE)
    [bare] = fly([nominal], field.near, relative=RELATIVE)
    middle = from_s + 0.5 * window_s(ring)
    seen, plain = (measure_smoothly(flight, ring, 0, 0, from_s) for flight in (under, bare))
    leaning = turned(ring, seen, plain, middle)
    # once more in its own plane, in which its angle counts
    seen = measure_smoothly(under, leaning, 0, 0, from_s)
    rate = 2.0 * math.pi / (2.0 * math.pi / leaning.rate_rad_s + seen.period_error_s - plain.period_error_s)
    now = float(leaning.phase(middle, 0)) + seen.slot_error_rad - plain.slot_error_rad
    return replace(leaning, rate_rad_s=rate, slot0_rad=now - rate * middle), tuple(beside)


def turned(ring: Ring, seen: Measured, plain: Measured, middle_s: float) -> Ring:
    """The ring with its plane moved by what two flights beside it differ: node and inclination at a moment."""
    if abs(math.sin(ring.inclination_rad)) < LEAST_LEAN:
        return ring
    lean = [one - other for one, other in zip(seen.plane_tilt_rad, plain.plane_tilt_rad, strict=True)]
    node = ring.node(middle_s)
    first, second, up = plane_axes(ring.inclination_rad, node)
    pole = up + lean[0] * first + lean[1] * second
    x, y, z = (pole / math.sqrt(float(pole @ pole))).tolist()
    moved = math.remainder(math.atan2(x, -y) - node, 2.0 * math.pi)
    # the angle counts from the node: where the node has gone, a place on the ring has another angle
    return replace(
        ring,
        inclination_rad=math.acos(z),
        node_rad=ring.node_rad + moved,
        slot0_rad=ring.slot0_rad - moved * math.cos(ring.inclination_rad),
    )
