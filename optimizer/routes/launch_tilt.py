"""What a launch off the ring plane adds to a route: how the tilt is taken off, and what that costs.

Kept where the ring allows it. At the apsides where these lie on the relative node: the burns of the route turn the
plane as well, each by its share of the least costly sharing (``models/planes.py``). Else in a separate burn at the
node, within half a turn after the last burn at the ring. Which of them a way up does is part of the way.

Of the choices of (k, m) only those are turned that none beats in the plane: liftoffs off it are a grid in any case.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...models import launch
from ...models.opportunities import tilt
from ...models.planes import combined_delta_v, split, turn_delta_v
from ...models.ring import Ring
from ..problem.options import F, I, Options

NODE_RAD = 1e-9
"""A node no farther than this is here."""


@dataclass(frozen=True, kw_only=True)
class Burns:
    """The burns of a launched craft on the line of its apsides, for n options: arrays of shape (n, k).

    Args:
        before_m_s, after_m_s: speeds before and after each burn.
        share_rad: how far each turns the plane.
        opposite: for each of the k burns, whether it comes half a turn before the touch of the ring.
    """

    before_m_s: F
    after_m_s: F
    share_rad: F
    opposite: tuple[bool, ...]

    @property
    def delta_v_m_s(self) -> F:
        """Size of each burn."""
        return combined_delta_v(self.before_m_s, self.after_m_s, self.share_rad)


def apsis_burns(way: launch.Ascent, ring: Ring, speed_m_s: F, revolutions: I, tilt_rad: F) -> Burns:
    """The burns on the line of apsides and their shares of a tilt, of options that all phase or all do not.

    Args:
        speed_m_s: speed at the ring after the burn at the touch, (n,).
        revolutions: (n,), all 0 or all above 0.
        tilt_rad: (n,).
    """
    n = speed_m_s.size
    steps: list[tuple[F, F]] = []
    if way.parking_rate_rad_s is not None:
        circle = way.parking_rate_rad_s * way.insertion.radius_m
        sign = 1.0 if way.insertion.radius_m < ring.radius_m else -1.0
        steps.append((np.full(n, circle), np.full(n, circle + sign * way.entry_delta_v_m_s)))
    circular = np.full(n, ring.speed_m_s)
    phases = bool(np.any(revolutions > 0))
    steps.append((np.full(n, way.arrival_speed_m_s), speed_m_s if phases else circular))
    if phases:
        steps.append((speed_m_s, circular))
    before, after = (np.stack(column, axis=-1) for column in zip(*steps, strict=True))
    share = tilt_rad[:, None] if len(steps) == 1 else split(before, after, tilt_rad)
    opposite = (True, False, False) if way.parking else (False, False)
    return Burns(before_m_s=before, after_m_s=after, share_rad=np.asarray(share), opposite=opposite[: len(steps)])


def turned(way: launch.Ascent, ring: Ring, options: Options) -> Options:
    """Options of one way up with the cost, and the time, of taking the tilt off."""
    if way.place is None or way.tilt_at == "kept" or not len(options):
        return options
    angle = tilt(way, options.liftoff_s)
    sound = ~np.isnan(angle)
    options, angle = options.take(sound), angle[sound]
    if way.tilt_at == "node":
        node = way.insertion_angle(options.liftoff_s) - way.insertion_angle0_rad + 0.5 * np.pi
        there = ring.phase(options.finish_s, options.slot)
        ahead = np.maximum(np.remainder(node - there + NODE_RAD, np.pi) - NODE_RAD, 0.0)
        after = ahead / ring.rate_rad_s
        return replace(
            options,
            turn_after_s=after,
            finish_s=options.finish_s + after,
            delta_v_m_s=options.delta_v_m_s + turn_delta_v(ring.speed_m_s, angle),
        )
    total = np.empty(len(options))
    for phases in (False, True):
        rows = np.flatnonzero((options.revolutions > 0) == phases)
        if rows.size:
            burns = apsis_burns(way, ring, options.speed_m_s[rows], options.revolutions[rows], angle[rows])
            total[rows] = np.sum(burns.delta_v_m_s, axis=-1)
    return replace(options, delta_v_m_s=total)
