"""How long the time-limited optimum takes: ``python tests/benchmarks/freeform_times.py [--smoke]``.

Processor time on one thread, in seconds and as a multiple of what scipy's DOP853 needs to fly one ring period to
1e-12, measured in the same run, so that figures of different machines can be compared.
"""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Callable
from itertools import product

# before numpy is loaded: the comparison is about one core
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.integrate import solve_ivp

from ringwright.optimizer.rendezvous.optimum import State, least_delta_v_over_times

TURN = 2.0 * math.pi
ON_RING = State(position_m=(1.0, 0.0, 0.0), velocity_m_s=(0.0, 1.0, 0.0))


def measured(work: Callable[[], object]) -> float:
    """Processor time of one call, s."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def one_period() -> None:
    """Fly the unit circle once around."""

    def rates(_: float, state: np.ndarray) -> np.ndarray:
        pull: np.ndarray = -state[:2] / np.hypot(state[0], state[1]) ** 3
        return np.concatenate([state[2:], pull])

    solve_ivp(rates, (0.0, TURN), [1.0, 0.0, 0.0, 1.0], method="DOP853", rtol=1e-12, atol=1e-12)


def main(arguments: list[str]) -> int:
    """Print the table; with ``--smoke`` of one small case each."""
    smoke = "--smoke" in arguments
    leads = [60.0] if smoke else [-140.0, -60.0, -20.0, 20.0, 60.0, 140.0]
    turns = [1.5] if smoke else [1.0, 1.5, 2.3, 3.0, 4.6]
    floors = [0.0] if smoke else [0.0, 0.93]
    count = 8 if smoke else 200
    yardstick = min(measured(one_period) for _ in range(5))
    print(f"one period by DOP853            {yardstick:8.4f} s")

    def cold(lead_deg: float, time_turns: float, floor: float) -> None:
        least_delta_v_over_times(
            ON_RING,
            gm=1.0,
            ring_radius_m=1.0,
            slot_lead_rad=math.radians(lead_deg),
            allowed_s=[time_turns * TURN],
            floor_m=floor,
        )

    cold(60.0, 1.5, 0.0)
    for floor in floors:
        spent = [measured(lambda case=(*pair, floor): cold(*case)) for pair in product(leads, turns)]  # type: ignore[misc]
        for name, value in (("median", float(np.median(spent))), ("most", max(spent))):
            label = f"one time, floor {floor:g}, {name}"
            print(f"{label:32s}{value:8.3f} s  {value / yardstick:8.1f} x")
    for floor in floors:
        times = list(np.linspace(1.0, 5.0, count) * TURN)

        def many(floor: float = floor, times: list[float] = times) -> None:
            least_delta_v_over_times(
                ON_RING, gm=1.0, ring_radius_m=1.0, slot_lead_rad=-1.0, allowed_s=times, floor_m=floor
            )

        value = measured(many)
        label = f"{count} times, floor {floor:g}"
        print(f"{label:32s}{value:8.3f} s  {value / yardstick:8.1f} x")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
