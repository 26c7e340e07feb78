"""What may go wrong with launches: how often they slip and for how long, how often one is lost, who replaces it.

That slips are exponentially distributed is common practice, no source: the least that a mean alone says.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from .keys import count_by_default, number_by_default

Weigh = Literal["load_p99", "finish_p90"]
"""What plans may be weighed by, beyond the aims that a schedule is proved for."""


@dataclass(frozen=True, kw_only=True)
class Risk:
    """Launches that slip or are lost, each for itself.

    Args:
        slip_share: share of launches that slip.
        slip_mean_s: mean of a slip, exponentially distributed.
        loss_share: share of launches that are lost.
        replaced_after_s: from the liftoff of a lost launch until a craft built in its place can lift off; infinite
            where none is built.
        spares: craft that stand ready from the beginning and go up in place of a lost one, a turnaround later.
    """

    slip_share: float = number_by_default("risk", "slip_share")
    slip_mean_s: float = number_by_default("risk", "slip_mean")
    loss_share: float = number_by_default("risk", "loss_share")
    replaced_after_s: float = number_by_default("risk", "replaced_after")
    spares: int = count_by_default("risk", "spares")

    @property
    def slips(self) -> bool:
        """Whether any launch slips."""
        return self.slip_share > 0.0 and self.slip_mean_s > 0.0

    def longest_slip_s(self, beyond: float) -> float:
        """The slip that a launch exceeds with that chance, s; 0 where it slips less often than that."""
        if not self.slips or self.slip_share <= beyond:
            return 0.0
        return self.slip_mean_s * math.log(self.slip_share / beyond)
