"""What a plan that is gone on from was flown under, and what that does to the rest of a flight.

Where plan 1 was corrected for further forces its craft are where these have brought them. What is left is looked for by
the bulge alone, which is quick, and aimed beside each slot by what the forces do on the way: that hardly depends on the
burns. ``corrected_rest.py`` then corrects what was found by its full flight.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from ...models.arrays import Array
from ...models.errors import FlightError
from ...models.flight.flown import Itinerary
from ...models.flight.gravity import Gravity, gravity_around
from ...models.flight.integrate import fly, fly_each
from ...models.flight.slot_error import Measured
from ...models.flight.smooth_mean import measure_smoothly, window_s
from ...models.frames import wrap
from ...models.reference import RELATIVE, slots_and_flights, turned
from ...models.ring import Ring
from ...models.surroundings import NO_SURFACE
from ..craft_plan import CraftPlan
from ..outcome import Outcome
from ..robustness.corrected_for_forces import END_MARGIN
from ..standing import UnderForces
from ..trajectory.differential_correction import IMPULSIVE
from .off_plan import OffPlan, burns_left, engine_now


def forced(outcome: Outcome) -> UnderForces | None:
    """What came of the flight of the plan under further forces; None where its burns are not corrected for any."""
    under = outcome.under
    return under if under is not None and under.corrected and outcome.plans[0].rank == 1 else None


def gravity_of(outcome: Outcome) -> Gravity:
    """What the plan was flown under."""
    under = forced(outcome)
    return gravity_around(outcome.scenario.body) if under is None else under.chosen.field


def state_by_plan(outcome: Outcome, part: CraftPlan, time_s: float) -> tuple[Array, Array, float]:
    """Position, m, and velocity, m/s, of a craft of the plan, and when it is there: then, or once its burn is over."""
    item = part.itinerary
    if item is None:
        raise ValueError("a plan without its itinerary cannot be continued")
    burned = tuple(burn for burn in item.impulses if burn.time_s <= time_s)
    over = [burn.time_s + 0.5 * (burn.duration_s or 0.0) for burn in part.burns[: len(burned)]]
    end_s = max([time_s, item.start_s, *over])
    model = IMPULSIVE if part.engine is None else part.engine
    [flight] = fly([replace(item, impulses=burned, end_s=end_s)], gravity_of(outcome), model)
    return flight.end_state[:3], flight.end_state[3:], end_s


def aims(outcome: Outcome, strayed: Sequence[OffPlan]) -> tuple[tuple[Ring, OffPlan], ...]:
    """For each craft the ring to aim at by the bulge alone, so that further forces bring it into its slot.

    With the shape that its orbit is to end with: as round under the forces as it would be, or as the plan has it.

    The burns that are left are flown from where the craft was seen, under the forces and without them; phase, rate and
    plane of the ring are moved by what the two differ, against their own slots, in the mean over the window.
    """
    under, ring = forced(outcome), outcome.ring
    if under is None or under.slots is None:
        return tuple((ring, one) for one in strayed)
    body, field = outcome.scenario.body, under.chosen.field
    last = [max([one.now_s, *(burn.time_s for burn in burns_left(one))]) for one in strayed]
    from_s = max([under.at_s, *last])
    slots = under.slots if from_s == under.at_s else slots_and_flights(ring, body, field, from_s, under.nominal)[0]
    end_s = from_s + window_s(ring) + END_MARGIN * ring.period_s
    items = [
        Itinerary(
            start_s=one.seen_s,
            position=one.position,
            velocity=one.velocity,
            impulses=burns_left(one),
            end_s=end_s,
            surface=NO_SURFACE if one.part.itinerary is None else one.part.itinerary.surface,
        )
        for one in strayed
    ]
    models = [engine_now(one) for one in strayed]
    pulled = fly_each(items, field, models, whole=False, relative=RELATIVE)
    plain = fly_each(items, field.near, models, whole=False, relative=RELATIVE)
    found = []
    for one, forced_flight, bare_flight in zip(strayed, pulled, plain, strict=True):
        if forced_flight is None or bare_flight is None:
            found.append((ring, one))
            continue
        place = (one.part.plane, one.part.slot)
        try:
            seen = measure_smoothly(forced_flight, slots, *place, from_s)
            bare = measure_smoothly(bare_flight, ring, *place, from_s)
        except FlightError:
            found.append((ring, one))
            continue
        aim = _moved(ring, slots, seen, bare, from_s + 0.5 * window_s(ring))
        found.append((aim, replace(one, shape=_shape(one, seen, bare))))
    return tuple(found)


def _moved(ring: Ring, slots: Ring, seen: Measured, bare: Measured, middle_s: float) -> Ring:
    """The ring moved back by what forces add to a slot error, to the drift off the slot, and to the tilt."""
    ring = turned(ring, bare, seen, middle_s)
    ahead = float(wrap(seen.slot_error_rad - bare.slot_error_rad))
    faster = _drift(slots, seen) - _drift(ring, bare)
    return replace(ring, rate_rad_s=ring.rate_rad_s - faster, slot0_rad=ring.slot0_rad - ahead + faster * middle_s)


def _shape(one: OffPlan, seen: Measured, bare: Measured) -> tuple[float, float]:
    """What eccentricity is left where the forces leave as much as the plan does at most, and that without them."""
    size = math.hypot(*seen.eccentricity)
    off = max(1.0 - one.part.flown.eccentricity / size, 0.0) if size > 0.0 else 0.0
    x, y = (there - off * under for there, under in zip(bare.eccentricity, seen.eccentricity, strict=True))
    return x, y


def _drift(ring: Ring, seen: Measured) -> float:
    """How much faster than the ring a craft turns, rad/s."""
    return 2.0 * math.pi / (ring.period_s + seen.period_error_s) - ring.rate_rad_s
