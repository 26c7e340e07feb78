"""A craft that is alone in its ring, against its slot.

It has no neighbor to be spaced from. Its slot goes where a nominal craft flies (``models/reference.py``), so such a
craft is put into the slot and followed beside it; the hold is how long both stay together, and trims are the craft's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..outcome import Kept, Outcome, Plan
from ..standing import ForcedHold
from .staying import NOMINAL


def beside(outcome: Outcome, plan: Plan) -> tuple[Kept, ...]:
    """The nominal craft, in the slot of a plan's only craft; none where there are several, or the ground decides."""
    places = [(part.plane, part.slot) for part in plan.craft] + [(one.plane, one.slot) for one in outcome.kept]
    if len(places) != 1 or outcome.scenario.ring.longitude_rad is not None:
        return ()
    [(plane, slot)] = places
    return (Kept(craft=NOMINAL, slot=slot, plane=plane, error_rad=0.0),)


def of_itself(hold: ForcedHold) -> ForcedHold:
    """The hold of the first craft against a nominal one beside it, without the latter."""
    own = hold.names[0]
    return replace(
        hold,
        craft=None if hold.craft is None else own,
        lost=None if hold.lost is None else own,
        names=(own,),
        spacing_rad=hold.spacing_rad[:, :1],
        kept_rad=hold.kept_rad[:, :1],
        trims=tuple(one for one in hold.trims if one.craft == own),
        start=hold.start.some(np.array([True, False])),
    )
