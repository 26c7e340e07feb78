"""Steps of even length by the formulas of Adams: one look at the rates a step, where Runge and Kutta take four.

The rates of mean orbits change with the time above all, with the sky, and little with the orbits themselves: the rates
at the end of a step, taken on orbits that are predicted, are good enough to correct these by and to go on from (scheme
PEC, and the weights: Hairer, Norsett and Wanner, Solving Ordinary Differential Equations I, 1993, section III.1; from
memory). Steps half as long as those of Runge and Kutta of fourth order are then as exact, for half the work.

The correction is of sixth order. The prediction is of fourth: by that of sixth, steps in which an orbit turns by 0.09
rad would grow without end; by this one they do so from 0.2 rad on (see the tests).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from ..arrays import Array

PREDICT = np.array([55.0, -59.0, 37.0, -9.0, 0.0, 0.0]) / 24.0
"""What each of the rates so far weighs, the last first, in a step from the last of them on."""
CORRECT = np.array([475.0, 1427.0, -798.0, 482.0, -173.0, 27.0]) / 1440.0
"""The same with the rates at the end of the step, first."""


@dataclass(frozen=True, eq=False)
class Past:
    """Rates at moments an even step apart, the last first, with which steps go on.

    Args:
        rates: rates of rows, at rows and a time.
        begin: a step of other formulas from rows at a time, by a step, with the rates there: used until enough is past.
    """

    rates: Callable[[Array, float], Array]
    begin: Callable[[Array, float, float, Array], Array]
    _rates: list[Array] = field(default_factory=list)

    def last(self, rows: Array, time_s: float) -> Array:
        """Rates where the last step ended, or at these rows where none was taken."""
        if not self._rates:
            self._rates.append(self.rates(rows, time_s))
        return self._rates[0]

    def stepped(self, rows: Array, time_s: float, step_s: float) -> Array:
        """Rows an even step later."""
        first = self.last(rows, time_s)
        if len(self._rates) < PREDICT.size:
            later = self.begin(rows, time_s, step_s, first)
            new = self.rates(later, time_s + step_s)
        else:
            new = self.rates(rows + step_s * _weighed(PREDICT, self._rates), time_s + step_s)
            later = rows + step_s * _weighed(CORRECT, [new, *self._rates[:-1]])
        self._rates.insert(0, new)
        del self._rates[PREDICT.size :]
        return later

    def forget(self) -> None:
        """What is past is no longer evenly apart."""
        self._rates.clear()


def _weighed(weights: Array, rates: list[Array]) -> Array:
    return np.asarray((weights @ np.array(rates).reshape(len(rates), -1)).reshape(rates[0].shape))
