"""Options of which the launcher's upper stage pays the first burns: what is left for the craft."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...models import launch
from ...models.opportunities import tilt
from ...models.planes import turn_delta_v
from ...models.ring import Ring
from ...models.scenario import UpperStage
from ...models.upper_stage import paid_by_stage
from ..problem.options import F, Options
from .launch_tilt import apsis_burns


def left_for_craft(stage: UpperStage, way: launch.Ascent, ring: Ring, options: Options) -> Options:
    """The options of one way up with what the stage pays taken off their delta-v."""
    if not len(options):
        return options
    left = np.empty(len(options))
    for phases in (False, True):
        rows = np.flatnonzero((options.revolutions > 0) == phases)
        if rows.size:
            some = options.take(rows)
            sizes, after = _burns(way, ring, some)
            left[rows] = some.delta_v_m_s - paid_by_stage(stage, sizes, after).sum(axis=-1)
    return replace(options, delta_v_m_s=np.maximum(left, 0.0))


def _burns(way: launch.Ascent, ring: Ring, options: Options) -> tuple[F, F]:
    """Sizes of the burns, and when each comes after the insertion, of options that all phase or all do not."""
    inserted = options.liftoff_s + way.insertion_after_s
    angle = np.zeros(len(options))
    if way.place is not None and way.tilt_at != "kept":
        angle = tilt(way, options.liftoff_s)
    in_apses = angle if way.tilt_at == "apsis" else np.zeros(len(options))
    sizes = [apsis_burns(way, ring, options.speed_m_s, options.revolutions, in_apses).delta_v_m_s]
    times = [options.burn_s]
    if way.parking:
        times.insert(0, inserted + options.parking_wait_s)
    if np.any(options.revolutions > 0):
        times.append(options.finish_s - options.turn_after_s)
    if way.tilt_at == "node":
        sizes.append(turn_delta_v(ring.speed_m_s, angle)[:, None])
        times.append(options.finish_s)
    return np.concatenate(sizes, axis=-1), np.stack(times, axis=-1) - inserted[:, None]
