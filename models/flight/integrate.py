"""Numerical flight of many itineraries at once: Newton's law in Cartesian coordinates, integrated step by step.

This module is the check on everything that is planned in closed form, so it shares no formula with that: it knows
accelerations and states only (see ``stepping.py`` for how many arcs are integrated together).

Measured against the exact two-body solution: 12 revolutions at 16 000 km end within a millimeter on a circle, within
3 mm at an eccentricity of 0.3 (tests/models/flight/test_integrate.py). Valid for impulses or constant thrust over a
point mass or an oblate body, and under the further forces of a `Field` (see ``forces.py``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .. import frames
from ..arrays import Array
from ..burns import BurnModel, FiniteThrust, Impulsive, burn_duration, mass_after
from ..errors import FlightError, InputError
from . import gauss_equations
from .flown import TURN_MARGIN, Flight, Impulse, Itinerary, Leg, Readout, readout
from .forces import Extra, Field, Surfaces
from .gauss_equations import suits
from .gravity import Gravity, Oblate, PointMass
from .slot_error import Approach, Measured, closest, closest_in_ring, closest_of_each, comes_back, measure
from .stepping import RELATIVE_TOLERANCE, Arc, Steps, coast, land, steering_axes, thrust_arc

__all__ = [
    "TURN_MARGIN",
    "Approach",
    "BurnModel",
    "Field",
    "FiniteThrust",
    "Flight",
    "Gravity",
    "Impulse",
    "Impulsive",
    "Itinerary",
    "Leg",
    "Measured",
    "Oblate",
    "PointMass",
    "Readout",
    "closest",
    "closest_in_ring",
    "closest_of_each",
    "comes_back",
    "fly",
    "fly_each",
    "measure",
    "readout",
]


BATCH_MAX = 256
"""Arcs stepped together: more would only fill the memory (50 kB a revolution and arc)."""


def fly(
    itineraries: Sequence[Itinerary],
    gravity: Gravity,
    burns: BurnModel | Sequence[BurnModel] = Impulsive(),  # noqa: B008 - frozen
    *,
    whole: bool = True,
    relative: float = RELATIVE_TOLERANCE,
) -> tuple[Flight, ...]:
    """Fly itineraries numerically, many in one integration.

    Args:
        gravity: `PointMass`, `Oblate`, or a `Field` with further forces on top.
        burns: one burn model for all, or one for each itinerary.
        whole: keep all of every flight for `Flight.states`, or else only what follows the last burn, which spares
            time and memory where nothing else is asked.
        relative: error allowed in a step of a coast, relative to the size of position and velocity; a thousand times
            more is twice as fast.

    Returns:
        One flight for each itinerary, in order.

    Raises:
        InputError: a thrust so low that a burn would not end before the next one begins, or before the end.
        FlightError: an itinerary whose times run backwards, or an integration that failed.

    >>> from math import pi, sqrt
    >>> gm, r = 3.986004418e14, 16.0e6
    >>> start = Itinerary(start_s=0.0, position=np.array([r, 0.0, 0.0]), end_s=2 * pi * sqrt(r**3 / gm),
    ...                   velocity=np.array([0.0, sqrt(gm / r), 0.0]))
    >>> [flight] = fly([start], PointMass(gm=gm))
    >>> bool(np.linalg.norm(flight.end_state[:3] - start.position) < 1e-3)
    True
    """
    models = [burns] * len(itineraries) if isinstance(burns, Impulsive | FiniteThrust) else list(burns)
    if len(models) != len(itineraries):
        raise FlightError(f"{len(itineraries)} itineraries, but {len(models)} burn models")
    plans = [_timetable(item, model) for item, model in zip(itineraries, models, strict=True)]
    flown: list[Flight] = []
    for first in range(0, len(itineraries), BATCH_MAX):
        chosen = slice(first, first + BATCH_MAX)
        batch = _Batch(itineraries[chosen], gravity, models[chosen], plans[chosen], relative)
        flown.extend(batch.fly(whole))
    return tuple(flown)


def fly_each(
    itineraries: Sequence[Itinerary],
    gravity: Gravity,
    burns: BurnModel | Sequence[BurnModel] = Impulsive(),  # noqa: B008 - frozen
    *,
    whole: bool = True,
    relative: float = RELATIVE_TOLERANCE,
) -> tuple[Flight | None, ...]:
    """Fly itineraries as `fly` does; None for each that cannot be flown, whatever the others do.

    Where the integration of a batch fails it is halved until those that fail stand alone.
    """
    models = [burns] * len(itineraries) if isinstance(burns, Impulsive | FiniteThrust) else list(burns)
    try:
        return fly(itineraries, gravity, models, whole=whole, relative=relative)
    except (FlightError, InputError):
        if len(itineraries) == 1:
            return (None,)
    middle = len(itineraries) // 2
    halves = ((itineraries[:middle], models[:middle]), (itineraries[middle:], models[middle:]))
    return tuple(
        flight for items, own in halves for flight in fly_each(items, gravity, own, whole=whole, relative=relative)
    )


SUDDEN_S = 0.01
"""Shorter burns are flown as impulses: in so short a time an orbit turns by a hundred thousandth of a radian at most,
of which a burn about its middle feels the square; and the moments of lighting and cut-off, months after the epoch, are
rounded to some nanoseconds, which would be a share of the burn."""


class _Timetable(NamedTuple):
    """When each burn is lit and cut off, alike for one that is sudden, and the mass before it (nan for impulses)."""

    ignition_s: Array
    cutoff_s: Array
    mass_kg: Array
    mass_after_kg: Array


def _timetable(item: Itinerary, model: BurnModel) -> _Timetable:
    centers = np.array([burn.time_s for burn in item.impulses], dtype=np.float64)
    if not np.all(np.diff([item.start_s, *centers, item.end_s]) >= 0.0):
        raise FlightError(f"times of an itinerary do not increase: {[item.start_s, *centers.tolist(), item.end_s]}")
    if not isinstance(model, FiniteThrust):
        nothing = np.full(centers.size, math.nan)
        return _Timetable(centers, centers, nothing, nothing)
    sizes = np.array([burn.delta_v_m_s for burn in item.impulses], dtype=np.float64)
    after = mass_after(model.mass_kg, np.cumsum(sizes), model.isp_s)
    before = np.concatenate([[model.mass_kg], after])[:-1]
    whole = burn_duration(before, sizes, model.isp_s, model.thrust_n)
    half = np.where(whole < SUDDEN_S, 0.0, 0.5 * whole)
    ignition, cutoff = centers - half, centers + half
    late = cutoff - np.append(ignition[1:], item.end_s)
    if late.size and late.max() > 0.0:
        raise InputError(
            f"at a thrust of {model.thrust_n:.6g} N a burn of {sizes[np.argmax(late)]:.3f} m/s ends "
            f"{late.max():.1f} s after the next one must begin, or after the flight ends; more thrust, or more time "
            "between the burns, would serve."
        )
    return _Timetable(ignition, cutoff, before, after)


class _Batch:
    """Itineraries flown side by side, leg by leg: coast to the next burn, burn, and so on to the end."""

    def __init__(
        self,
        itineraries: Sequence[Itinerary],
        gravity: Gravity,
        models: Sequence[BurnModel],
        plans: Sequence[_Timetable],
        relative: float,
    ) -> None:
        self.relative = relative
        self.itineraries = itineraries
        self.gravity = gravity
        self.terms = gravity.terms if isinstance(gravity, Field) else ()
        self.near = gravity.near if isinstance(gravity, Field) else gravity
        self.surfaces = Surfaces.of([item.surface for item in itineraries])
        self.models = models
        self.plans = plans
        self.state = np.array([[*item.position, *item.velocity] for item in itineraries], dtype=np.float64).T
        self.now = np.array([item.start_s for item in itineraries], dtype=np.float64)
        self.arcs: list[list[Arc]] = [[] for _ in itineraries]
        self.before: list[list[Array]] = [[] for _ in itineraries]
        self.after: list[list[Array]] = [[] for _ in itineraries]

    def fly(self, whole: bool) -> list[Flight]:
        """Fly all to their ends."""
        counts = np.array([len(item.impulses) for item in self.itineraries], dtype=np.intp)
        for leg in range(int(counts.max()) + 1 if counts.size else 0):
            here = np.flatnonzero(counts >= leg)
            ends = [
                self.plans[i].ignition_s[leg] if leg < counts[i] else self.itineraries[i].end_s for i in here.tolist()
            ]
            self._coast(leg, here, np.array(ends, dtype=np.float64), whole | (counts[here] == leg))
            self._burn(leg, here[counts[here] > leg], whole | (counts[here[counts[here] > leg]] == leg + 1))
        return [
            Flight(
                itinerary=item,
                gravity=self.gravity,
                burns=self.models[i],
                ignition_s=self.plans[i].ignition_s,
                cutoff_s=self.plans[i].cutoff_s,
                before=np.array(self.before[i]).reshape(-1, 6),
                after=np.array(self.after[i]).reshape(-1, 6),
                mass_after_kg=self.plans[i].mass_after_kg if isinstance(self.models[i], FiniteThrust) else None,
                end_state=self.state[:, i].copy(),
                arcs=tuple(self.arcs[i]),
                whole=whole,
            )
            for i, item in enumerate(self.itineraries)
        ]

    def _coast(self, leg: int, who: NDArray[np.intp], end_s: Array, keep: NDArray[np.bool_]) -> None:
        span = end_s - self.now[who]
        ahead, back = span > 0.0, span < 0.0
        if ahead.any():
            smooth = ahead & suits(self.gravity, self.state[:, who])
            self._by_elements(leg, who[smooth], span[smooth], keep[smooth])
            self._in_steps(leg, who[ahead & ~smooth], span[ahead & ~smooth], keep[ahead & ~smooth])
        if back.any():
            # a first burn centered on the start is lit before it, on the same orbit
            on = who[back]
            self.state[:, on] = land(self.gravity, self.state[:, on], span[back], self._extra(on))
        self.now[who] = end_s

    def _by_elements(self, leg: int, who: NDArray[np.intp], span: Array, keep: NDArray[np.bool_]) -> None:
        if who.size and isinstance(self.near, PointMass | Oblate):
            extra = self._extra(who)
            try:
                landed, panels = gauss_equations.coast(self.near, self.state[:, who], span, keep, extra)
            except FlightError:
                # pushes too strong or too uneven for panels, or a craft that comes down after its arc ends
                if extra is None:
                    raise
                self._in_steps(leg, who, span, keep)
                return
            self._hand_out(leg, who, span, panels, keep)
            self.state[:, who] = landed

    def _in_steps(self, leg: int, who: NDArray[np.intp], span: Array, keep: NDArray[np.bool_]) -> None:
        if who.size:
            landed, steps = coast(
                self.gravity, self.state[:, who], span, bool(keep.any()), self.relative, self._extra(who)
            )
            self._hand_out(leg, who, span, steps, keep)
            self.state[:, who] = landed

    def _extra(self, who: NDArray[np.intp]) -> Extra | None:
        """The further forces on some of the craft from now on."""
        if not self.terms:
            return None
        return Extra(terms=self.terms, begin_s=self.now[who], surfaces=self.surfaces.some(who))

    def _burn(self, index: int, who: NDArray[np.intp], keep: NDArray[np.bool_]) -> None:
        if who.size == 0:
            return
        for i in who.tolist():
            self.before[i].append(self.state[:, i].copy())
        parts = np.array([self.itineraries[i].impulses[index][1:] for i in who.tolist()], dtype=np.float64)
        size = np.linalg.norm(parts, axis=1)
        length = np.array([self.plans[i].cutoff_s[index] - self.plans[i].ignition_s[index] for i in who.tolist()])
        powered = length > 0.0
        sudden = who[~powered]
        r, v = self.state[:3, sudden].T, self.state[3:, sudden].T
        self.state[3:, sudden] += frames.from_local(r, v, parts[~powered]).T
        if powered.any():
            lit, lasting = who[powered], length[powered]
            engines = [model for model in (self.models[i] for i in lit.tolist()) if isinstance(model, FiniteThrust)]
            # the impulse is given in the axes that the craft would have at its moment without the burn
            extra = self._extra(lit)
            middle = land(self.gravity, self.state[:, lit], 0.5 * lasting, extra).T
            aim = frames.from_local(middle[:, :3], middle[:, 3:], parts[powered] / size[powered, np.newaxis])
            for k, engine in enumerate(engines):
                axes = steering_axes(middle[k : k + 1, :3], middle[k : k + 1, 3:], engine.steering)[0]
                aim[k] = axes @ aim[k]
            mass = np.array([self.plans[i].mass_kg[index] for i in lit.tolist()])
            landed, steps = thrust_arc(self.gravity, self.state[:, lit], lasting, engines, mass, aim.T, extra)
            self._hand_out(index + 1, lit, lasting, steps, keep[powered])
            self.state[:, lit] = landed
        for i in who.tolist():
            self.after[i].append(self.state[:, i].copy())
            self.now[i] = self.plans[i].cutoff_s[index]

    def _hand_out(
        self,
        leg: int,
        who: NDArray[np.intp],
        span: Array,
        steps: Steps | gauss_equations.Panels,
        keep: NDArray[np.bool_],
    ) -> None:
        for column in np.flatnonzero(keep).tolist():
            owner = who[column]
            start = float(self.now[owner])
            self.arcs[owner].append(steps.arc(column, leg, start, start + float(span[column])))
