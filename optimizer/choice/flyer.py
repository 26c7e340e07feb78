"""What was flown of a problem: each option once, in batches, and what its flight breaks."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace

import numpy as np

from ..flown_plans.assembly import alone, assemble
from ..flown_plans.flights import Flights, ToFly, fly_all, fly_together
from ..flown_plans.liftoffs import Corrections
from ..outcome import Broken, Plan
from ..problem.option_key import OptionKey, flight_key, key, rows_like
from ..problem.options import F, Options, join
from ..problem.problem import Problem
from ..problem.starts import with_classes, with_kept
from ..trajectory.course import Carried, CarrierKey

CORRECTING = 5.0
"""Flying an option that is corrected takes about so many times as long as one that is not."""

ALIKE_MIN = 3
"""So many options that go up one way have to be flown before what they cost less is taken of the others, too."""


_COUNTED: ContextVar[list[float] | None] = ContextVar("counted", default=None)


@contextmanager
def counting_turns() -> Iterator[list[float]]:
    """Inside, what all flyers fly is summed up in the one element of a list, as in `Flyer.work_turns`."""
    total = [0.0]
    token = _COUNTED.set(total)
    try:
        yield total
    finally:
        _COUNTED.reset(token)


class Flyer:
    """Flies the options of one problem and remembers all flights.

    ``work_turns`` counts what that took, in turns of the ring flown without a correction. ``corrections`` may hold some
    that were made for other ends.
    """

    def __init__(self, problem: Problem, corrections: Corrections | None = None) -> None:
        self.problem = problem
        self.corrections: Corrections = {} if corrections is None else corrections
        self.flights = Flights(
            courses={},
            flights={},
            measured={},
            legs={},
            first_guess_rad={},
            carried={},
            beside_kept=with_kept(problem),
            beside=with_classes(problem),
        )
        self.work_turns = 0.0
        self.judged_alone: dict[tuple[OptionKey, int], tuple[Broken, ...]] = {}
        self._plans: dict[frozenset[tuple[OptionKey, int]], Plan] = {}
        self._more: dict[tuple[OptionKey, int], float] = {}

    def fly(self, chosen: Sequence[Options]) -> None:
        """Fly what was not flown yet of some plans or options, in one batch."""
        parts = self._new(chosen)
        if parts:
            self._remember(fly_all(self.problem, [join(parts)], self.corrections))

    def _new(self, chosen: Sequence[Options]) -> list[Options]:
        """What was not flown yet of some plans or options."""
        known = self.flights
        parts = []
        for options in chosen:
            new = np.array(
                [
                    (name := flight_key(self.problem, options, row)) not in known.flights and name not in known.failed
                    for row in range(len(options))
                ],
                dtype=bool,
            )
            if new.any():
                # who is dropped by one carrier is flown with all that it drops
                parts.append(options.take(np.isin(options.column, options.column[new])))
        return parts

    def _remember(self, more: Flights) -> None:
        """Add what was flown, and count what it took."""
        period = self.problem.ring.period_s
        turns = sum(
            (flight.itinerary.end_s - flight.itinerary.start_s)
            / period
            * (CORRECTING if name in more.first_guess_rad else 1.0)
            for name, flight in more.flights.items()
        )
        self.work_turns += turns
        counted = _COUNTED.get()
        if counted is not None:
            counted[0] += turns
        self.flights = _both(self.flights, more)

    def plan(self, options: Options) -> Plan:
        """A choice of options as a plan, flown and judged; not ranked."""
        name = self.names(options)
        if name not in self._plans:
            self.fly([options])
            self._plans[name] = assemble(self.problem, options, self.flights)
            self._note_costs(options, self._plans[name])
        return self._plans[name]

    def broken(self, options: Options, row: int) -> tuple[Broken, ...]:
        """Limits that an option breaks by its own flight regardless of other movable craft; flown before."""
        name = (key(options, row), int(options.craft_class[row]))
        if name not in self.judged_alone:
            self.judged_alone[name] = alone(self.problem, options, row, self.flights).broken
        return self.judged_alone[name]

    def flown(self, options: Options, row: int) -> bool:
        """Whether an option was flown, or was found that it cannot be."""
        return flight_key(self.problem, options, row) in self.flights.flights or self.fails(options, row)

    def fails(self, options: Options, row: int) -> bool:
        """Whether an option cannot be flown: it falls into the body, or does not come round the ring."""
        return flight_key(self.problem, options, row) in self.flights.failed

    def _note_costs(self, options: Options, plan: Plan) -> None:
        """Remember by option what it costs as flown, less what the catalogue says."""
        flown = {(part.plane * self.problem.ring.slots + part.slot): part.delta_v_m_s for part in plan.craft}
        for row in range(len(options)):
            name = key(options, row)
            more = flown[int(options.slot[row])] - float(options.delta_v_m_s[row])
            self._more[name, int(options.craft_class[row])] = more

    @property
    def costed(self) -> frozenset[tuple[OptionKey, int]]:
        """Names of the options whose cost as flown is known."""
        return frozenset(self._more)

    @property
    def kept(self) -> tuple[Plan, ...]:
        """Plans that were flown and keep their limits."""
        return tuple(plan for plan in self._plans.values() if not plan.broken)

    @staticmethod
    def names(options: Options) -> frozenset[tuple[OptionKey, int]]:
        """What options are remembered by: key and craft class."""
        return frozenset((key(options, row), int(options.craft_class[row])) for row in range(len(options)))

    def differs_m_s(self) -> float:
        """By how much an option costs less, as flown, than the catalogue says, at most."""
        return max((-more for more in self._more.values()), default=0.0)

    def as_flown(self, options: Options) -> F:
        """Delta-v of each option as flown; of one that was not, the least that it may be.

        That is the catalogue's, less what options of its kind (route, windings, passes, slot) were found to cost less;
        where none of its kind was flown, less what those were that go the same way up, else less what any was.
        """
        out = options.delta_v_m_s - max(self.differs_m_s(), 0.0)
        kinds: dict[OptionKey, tuple[OptionKey, float]] = {}
        ways: dict[tuple[int, int], list[float]] = {}
        for (name, _), more in self._more.items():
            kind = name.kind
            kinds[kind] = (name, min(kinds.get(kind, (name, math.inf))[1], more))
            if name.way is not None:
                ways.setdefault((name.route, name.way), []).append(more)
        for (route, way), of_way in ways.items():
            if len(of_way) >= ALIKE_MIN:
                own = (options.route == route) & (options.way == way)
                out[own] = options.delta_v_m_s[own] + min(of_way)
        for name, more in kinds.values():
            alike = rows_like(options, name, any_moment=True)
            out[alike] = options.delta_v_m_s[alike] + more
        for (name, index), more in self._more.items():
            own = rows_like(options, name)
            own = own[options.craft_class[own] == index]
            out[own] = options.delta_v_m_s[own] + more
        return np.asarray(np.maximum(out, 0.0))


def fly_at_once(asked: Sequence[tuple[Flyer, Options]]) -> None:
    """Fly what was not flown yet of plans of several problems that differ in where their ring stands, in one batch."""
    flyers = {id(flyer): flyer for flyer, _ in asked}
    parts = {name: flyer._new([options for own, options in asked if own is flyer]) for name, flyer in flyers.items()}
    work = [(flyers[name], join(new)) for name, new in parts.items() if new]
    if work:
        jobs = [ToFly(flyer.problem, [options], flyer.corrections) for flyer, options in work]
        for (flyer, _), more in zip(work, fly_together(jobs), strict=True):
            flyer._remember(more)


def _both(known: Flights, more: Flights) -> Flights:
    carried: dict[CarrierKey, Carried] = dict(known.carried)
    for name, one in more.carried.items():
        # of a carrier that was flown twice the longer flight holds all passes
        if name not in carried or one.flight.itinerary.end_s >= carried[name].flight.itinerary.end_s:
            carried[name] = one
    return replace(
        known,
        courses=known.courses | more.courses,
        flights=known.flights | more.flights,
        measured=known.measured | more.measured,
        legs=known.legs | more.legs,
        first_guess_rad=known.first_guess_rad | more.first_guess_rad,
        carried=carried,
        nearest=known.nearest | more.nearest,
        outside=known.outside | more.outside,
        failed=known.failed | more.failed,
    )
