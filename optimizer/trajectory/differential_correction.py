"""Correct an itinerary by its own numerical flight until the craft stands in its slot and moves with it.

One corrector for everything that closed forms leave out: oblateness, long burns, free-form itineraries. The unknowns
are chosen components and times of burns (or the time of launch); the targets are what `measure` finds over the first
ring turn after the last burn. Gauss-Newton steps with a Jacobian from finite differences, damped by the choice among
several Levenberg-Marquardt steps (Levenberg 1944, Marquardt 1963); every round flies all cases, their differences and
their candidate steps in batches.

It finds the nearest solution, not the cheapest one: the structure of the itinerary is the optimizer's choice.
"""

from __future__ import annotations

import contextlib
import dataclasses
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from ...models.arrays import Array
from ...models.burns import BurnModel, Impulsive
from ...models.deadline import poll
from ...models.errors import FlightError
from ...models.flight.integrate import Flight, Gravity, Impulse, Itinerary, Measured, fly_each, measure
from ...models.flight.smooth_mean import measure_smoothly
from ...models.ring import Ring

IMPULSIVE = Impulsive()
Part = Literal["time", "onward", "radial", "along", "cross", "launch"]
Target = Literal["slot", "period", "eccentricity", "radius", "plane"]

TOLERANCE_RAD = 1e-6
"""A case is met when its weighted miss is below this: 6e-5 deg of slot or of drift a turn, 5e-5 of eccentricity."""
ROUNDS_MAX = 10
_RELATIVE = 1e-10
"""Error allowed in a step of the flights in between: far below the differences that are taken of them."""
_DIFFERENCE = 1e-5
"""Step of the finite differences: in radians of ring motion for times, in circular speeds for burns."""
_DAMPING = (1e-9, 1e-4, 1e-3, 1e-2, 1e-1)
"""Candidate dampings, relative to the largest singular value; the first is tried alone first."""
_GOOD = 0.3
"""A step that leaves less than this of the miss, or of what the unknowns can take off it, is taken at once."""
_REACH = 0.2
"""Longest step in the units of `_DIFFERENCE`."""
_WEIGHTS: dict[Target, float] = {"slot": 1.0, "period": 1.0, "eccentricity": 0.02, "radius": 0.1, "plane": 0.3}
"""What counts most where not all targets can be met at once: place and rate before shape and plane."""


class Unknown(NamedTuple):
    """Something that the corrector may change.

    ``burn`` counts from 0, or from the end if negative. ``time`` moves that burn alone (with the end of the flight for
    the last burn), ``onward`` that burn and all that comes after it; ``launch`` moves the whole itinerary and turns
    its start with the body, whatever the burn.
    """

    burn: int
    part: Part


PHASING: tuple[Unknown, ...] = (Unknown(0, "along"), Unknown(-1, "radial"), Unknown(-1, "along"))
"""For a phasing orbit between a first and a last burn: its period, and how the ring is entered. Times stay as they are.

The radius of entry cannot be chosen so (an orbit comes back to where it began), which leaves an eccentricity of a few
times 1e-5 at most in low Earth orbits; with ``Unknown(0, "radial")`` and ``Unknown(-1, "time")`` it goes too.
"""

IN_PLANE: tuple[Target, ...] = ("slot", "period", "eccentricity")
"""The usual targets; eccentricity counts as two."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One itinerary to correct.

    Args:
        itinerary: first guess, flown long enough for `measure` (see `Itinerary.through_turn`).
        ring, plane, slot: where it is to end.
        burns: impulsive, or constant thrust with the mass at the start.
        unknowns, targets: what may change, and what is to be met; least squares where there are more targets, the
            smallest change where there are more unknowns.
        spin_rad_s: rotation rate of the body, for the unknown ``launch``.
        from_s: where given, it is measured by smooth means over the window that begins there (`measure_smoothly`),
            not over the turn after the last burn.
        relative: error allowed in a step of its flights.
        shape: the eccentricity vector to end with.
    """

    itinerary: Itinerary
    ring: Ring
    slot: int
    plane: int = 0
    burns: BurnModel = IMPULSIVE
    unknowns: tuple[Unknown, ...] = PHASING
    targets: tuple[Target, ...] = IN_PLANE
    spin_rad_s: float = 0.0
    from_s: float | None = None
    relative: float = _RELATIVE
    shape: tuple[float, float] = (0.0, 0.0)

    def measured(self, flight: Flight) -> Measured:
        """A flight against the slot; raises FlightError where it does not come round."""
        poll()
        if self.from_s is None:
            return measure(flight, self.ring, self.plane, self.slot)
        return measure_smoothly(flight, self.ring, self.plane, self.slot, self.from_s)


@dataclass(frozen=True, kw_only=True)
class Corrected:
    """What became of a case.

    Args:
        itinerary: corrected.
        first, last: what was measured before and after.
        met: whether the weighted miss that is left is below the tolerance asked for: root of the summed squares of slot
            error and rate error a turn, and with lower weights of eccentricity, relative radius and tilt.
        rounds: how many steps were taken.
    """

    itinerary: Itinerary
    first: Measured
    last: Measured
    met: bool
    rounds: int


def correct_each(
    cases: Sequence[Case],
    gravity: Gravity,
    *,
    tolerance_rad: float = TOLERANCE_RAD,
    rounds_max: int = ROUNDS_MAX,
) -> tuple[Corrected | None, ...]:
    """Correct itineraries by flying them.

    Args:
        gravity: what pulls.
        tolerance_rad: miss at which a case is met.
        rounds_max: steps at most.

    Returns:
        One result for each case, in order; None where the first guess cannot be flown or measured. A case that cannot
        be met comes with its least miss and ``met`` False: whether that serves is the caller's decision.

    Raises:
        FlightError: a first guess without burns.
    """
    if not all(case.itinerary.impulses for case in cases):
        raise FlightError("an itinerary without burns has nothing to correct")
    work = [_Work(case) for case in cases]
    _begin(work, gravity)
    for _ in range(rounds_max):
        active = [item for item in work if not item.stopped and item.miss > tolerance_rad]
        active = [item for item in active if item.jacobian is None or item.gainable() > tolerance_rad]
        if not active:
            break
        _differentiate([item for item in active if item.jacobian is None], gravity)
        points = [item.candidates() for item in active]
        bold = _fly_all(active, [item.at(trial[0]) for item, trial in zip(active, points, strict=True)], gravity)
        timid = [k for k, item in enumerate(active) if not item.serves(bold[k])]
        others = _fly_all(
            [active[k] for k in timid for _ in _DAMPING[1:]],
            [active[k].at(x) for k in timid for x in points[k][1:]],
            gravity,
        )
        width = len(_DAMPING) - 1
        rest = {k: others[place * width : (place + 1) * width] for place, k in enumerate(timid)}
        for k, item in enumerate(active):
            item.advance(points[k], [bold[k], *rest.get(k, ())])
    return tuple(None if item.lost else item.result(tolerance_rad) for item in work)


class _Found(NamedTuple):
    """A flown point: what was measured, and the state at the last ignition."""

    measured: Measured
    before: Array


def _fly_all(owners: Sequence[_Work], items: Sequence[Itinerary | None], gravity: Gravity) -> list[_Found | None]:
    """Fly and measure each owner's itinerary; None where it is impossible or too slow to come round."""
    possible = [(k, item) for k, item in enumerate(items) if item is not None]
    models = [owners[k].case.burns for k, _ in possible]
    relative = min((owners[k].case.relative for k, _ in possible), default=_RELATIVE)
    flights = fly_each([item for _, item in possible], gravity, models, whole=False, relative=relative)
    out: list[_Found | None] = [None] * len(items)
    for (k, _), flight in zip(possible, flights, strict=True):
        if flight is None:
            continue
        case = owners[k].case
        # a point too far off to be measured is as bad as one that cannot be flown
        with contextlib.suppress(FlightError):
            out[k] = _Found(case.measured(flight), flight.before[-1])
    return out


def _begin(work: Sequence[_Work], gravity: Gravity) -> None:
    """Fly the first guesses, and in the same batch what lies beside them: twice as many arcs cost little more."""
    asked: list[tuple[_Work, int | None, Itinerary | None]] = []
    for item in work:
        asked.append((item, None, item.at(item.x)))
        asked.extend((item, k, item.beside(k)) for k in range(item.x.size) if not item.only_last(k))
    found = _fly_all([item for item, _, _ in asked], [flown for _, _, flown in asked], gravity)
    for (item, k, _), result in zip(asked, found, strict=True):
        if k is not None:
            item.seen[k] = result
        elif result is None:
            item.lost = item.stopped = True
        else:
            item.start(result)


def _differentiate(work: Sequence[_Work], gravity: Gravity) -> None:
    asked = [(item, k) for item in work for k in range(item.x.size) if k not in item.seen]
    results = _fly_all([item for item, _ in asked], [item.beside(k) for item, k in asked], gravity)
    for (item, k), result in zip(asked, results, strict=True):
        item.seen[k] = result
    for item in work:
        columns = []
        for k in range(item.x.size):
            found = item.seen[k]
            gap = item.gap if found is None else item.residual(found.measured)
            columns.append((gap - item.gap) / _DIFFERENCE)
        item.jacobian = np.stack(columns, axis=1)
        item.seen = {}


class _Work:
    """A case on its way: where it stands, and the slope there."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.x: Array = np.zeros(len(case.unknowns))
        self.jacobian: Array | None = None
        self.seen: dict[int, _Found | None] = {}
        self.fresh = False
        self.stopped = False
        self.lost = False
        self.rounds = 0

    def start(self, found: _Found) -> None:
        self.first = found.measured
        self.stand(self.x, found)

    def stand(self, x: Array, found: _Found) -> None:
        """Make a flown point the present one."""
        self.x, self.last, self.before = x, found.measured, found.before
        self.gap = self.residual(found.measured)
        self.miss = float(np.linalg.norm(self.gap))

    def beside(self, which: int) -> Itinerary | None:
        """Itinerary beside the present one in one unknown; flown from the last impulse on where only that changes."""
        item = self.at(self.x + _DIFFERENCE * np.eye(self.x.size)[which])
        if item is None or not self.only_last(which):
            return item
        return dataclasses.replace(
            item,
            start_s=item.impulses[-1].time_s,
            position=self.before[:3],
            velocity=self.before[3:],
            impulses=item.impulses[-1:],
        )

    def only_last(self, which: int) -> bool:
        """Whether an unknown leaves the flight up to the last burn as it is."""
        unknown = self.case.unknowns[which]
        count = len(self.case.itinerary.impulses)
        return (
            unknown.part in ("radial", "along", "cross")
            and range(count)[unknown.burn] == count - 1
            and isinstance(self.case.burns, Impulsive)
        )

    def residual(self, found: Measured) -> Array:
        """Weighted misses, all in radians or ratios."""
        ring, shape = self.case.ring, self.case.shape
        parts: dict[Target, tuple[float, ...]] = {
            "slot": (found.slot_error_rad,),
            "period": (2.0 * math.pi * found.period_error_s / ring.period_s,),
            "eccentricity": (found.eccentricity[0] - shape[0], found.eccentricity[1] - shape[1]),
            "radius": (found.radius_error_m / ring.radius_m,),
            "plane": found.plane_tilt_rad,
        }
        return np.array([_WEIGHTS[name] * value for name in self.case.targets for value in parts[name]])

    def miss_of(self, found: _Found | None) -> float:
        return math.inf if found is None else float(np.linalg.norm(self.residual(found.measured)))

    def at(self, x: Array) -> Itinerary | None:
        """Itinerary at a point, None where its times would run backwards."""
        case, item = self.case, self.case.itinerary
        burns = [list(burn) for burn in item.impulses]
        end, shift = item.end_s, 0.0
        for unknown, value in zip(case.unknowns, x.tolist(), strict=True):
            index = range(len(burns))[unknown.burn]
            if unknown.part == "launch":
                shift += value / case.ring.rate_rad_s
            elif unknown.part == "time":
                burns[index][0] += value / case.ring.rate_rad_s
                if index == len(burns) - 1:
                    end += value / case.ring.rate_rad_s
            elif unknown.part == "onward":
                for burn in burns[index:]:
                    burn[0] += value / case.ring.rate_rad_s
                end += value / case.ring.rate_rad_s
            else:
                burns[index][("radial", "along", "cross").index(unknown.part) + 1] += value * case.ring.speed_m_s
        times = [item.start_s, *(burn[0] for burn in burns), end]
        if any(later < earlier for earlier, later in itertools.pairwise(times)):
            return None
        turn = case.spin_rad_s * shift
        turned = np.array(
            [[math.cos(turn), -math.sin(turn), 0.0], [math.sin(turn), math.cos(turn), 0.0], [0.0, 0.0, 1.0]]
        )
        return dataclasses.replace(
            item,
            start_s=item.start_s + shift,
            position=turned @ item.position,
            velocity=turned @ item.velocity,
            impulses=tuple(Impulse(burn[0] + shift, *burn[1:]) for burn in burns),
            end_s=end + shift,
        )

    def candidates(self) -> list[Array]:
        """Points to try: steps damped less and more."""
        assert self.jacobian is not None
        u, s, vt = np.linalg.svd(self.jacobian, full_matrices=False)
        along = u.T @ self.gap
        points = []
        for damping in _DAMPING:
            step = -(vt.T @ (along * s / (s**2 + (damping * s[0]) ** 2)))
            longest = float(np.max(np.abs(step)))
            points.append(self.x + step * min(1.0, _REACH / longest) if longest > 0.0 else self.x)
        return points

    def gainable(self, gap: Array | None = None) -> float:
        """How much of a miss (the present one) the unknowns can take away, by the slope: the rest is out of reach."""
        assert self.jacobian is not None
        u, s, _ = np.linalg.svd(self.jacobian, full_matrices=False)
        return float(np.linalg.norm(u.T[s > 1e-9 * s[0]] @ (self.gap if gap is None else gap)))

    def serves(self, found: _Found | None) -> bool:
        """Whether a step did what it could: little is left of the miss, or of the part of it that was in reach."""
        left = self.miss_of(found) / self.miss
        if found is None or left >= 1.0:
            return False
        return left <= _GOOD or self.gainable(self.residual(found.measured)) <= _GOOD * self.gainable()

    def advance(self, points: Sequence[Array], results: Sequence[_Found | None]) -> None:
        """Take the best candidate if it is better; a slope that served badly is renewed once before giving up.

        One that served well is mended by what the step showed (Broyden 1965), which costs no flight.
        """
        assert self.jacobian is not None
        best = min((self.miss_of(found), k) for k, found in enumerate(results))
        self.rounds += 1
        gain = best[0] / self.miss
        found, served = results[best[1]], self.serves(results[best[1]])
        if gain < 1.0 and found is not None:
            step, gap = points[best[1]] - self.x, self.gap
            self.stand(points[best[1]], found)
            self.jacobian = self.jacobian + np.outer(self.gap - gap - self.jacobian @ step, step) / (step @ step)
        if gain > 0.9 and self.fresh:
            self.stopped = True
        self.fresh = False
        if not served:
            self.jacobian, self.fresh = None, True

    def result(self, tolerance_rad: float) -> Corrected:
        final = self.at(self.x)
        assert final is not None
        return Corrected(
            itinerary=final,
            first=self.first,
            last=self.last,
            met=self.miss <= tolerance_rad,
            rounds=self.rounds,
        )
