"""What the launcher's last stage pays of the first burns (bookkeeping of the rocket equation's sums; no source).

The stage stays with what it carries until it is spent, or its time is over. Burns are paid in order; of the one during
which it runs dry the craft pays the rest, after letting go of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .scenario import UpperStage


def paid_by_stage(stage: UpperStage, sizes_m_s: ArrayLike, after_s: ArrayLike) -> NDArray[np.float64]:
    """The part of each burn that a stage pays, m/s.

    Args:
        stage: what it can give, and for how long.
        sizes_m_s: burns in order along the last axis, shape (..., burns).
        after_s: time of each since the insertion, same shape.

    Returns:
        Same shape. A burn after the stage's time ends its part: it pays no later one.

    >>> stage = UpperStage(delta_v_m_s=500.0, lasts_s=3600.0)
    >>> paid_by_stage(stage, [300.0, 400.0, 50.0], [0.0, 1800.0, 3000.0]).tolist()
    [300.0, 200.0, 0.0]
    >>> paid_by_stage(stage, [300.0, 400.0], [0.0, 7200.0]).tolist()
    [300.0, 0.0]
    """
    sizes = np.asarray(sizes_m_s, dtype=np.float64)
    in_time = np.logical_and.accumulate(np.asarray(after_s) <= stage.lasts_s + 1e-6, axis=-1)
    asked = np.where(in_time, sizes, 0.0)
    before = np.cumsum(asked, axis=-1) - asked
    return np.clip(stage.delta_v_m_s - before, 0.0, asked)
