"""Stepping many arcs together: scipy's DOP853 over a batch, and the interpolation inside its steps.

The eighth-order pair of Dormand and Prince with its seventh-order interpolation (Hairer, Norsett and Wanner, Solving
Ordinary Differential Equations I, 1993, sections II.5 and II.6). Free arcs are stepped in a scaled time s with
dt = sqrt(r^3 / GM) ds (a Sundman transformation, Sundman 1912; bounded for open orbits, see `coast`), in which every
orbit takes about the same steps a revolution whatever its size, shape and phase; time is then a seventh component, and
each arc lands on its end by a last short integration in time itself.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from .. import frames
from ..arrays import Array
from ..burns import FiniteThrust
from ..deadline import poll
from ..errors import FlightError
from .forces import Extra
from .gravity import Gravity, Number
from .shadow_edges import ShadowEdges, light_apart, put_in

RELATIVE_TOLERANCE = 1e-13
"""Error allowed in a step, relative to the size of position and velocity."""
TOLERANCE_FLOOR = 3e-14
"""Below this rounding rules."""
SCIPY_FLOOR = 2.3e-14
"""The least relative tolerance that scipy takes without a warning; for time, which only grows, absolute counts."""
STEPS_MAX = 100_000
STEPS_A_TURN = 400
"""An arc of many revolutions may take so many steps for each: a circle takes 40, an eccentricity of 0.99 some 200."""
FEW = 8
"""So few arcs are stepped faster with plain numbers than with arrays of them."""
FALSE_POSITIONS = 7
"""Rounds of false position for a turning point of the radius: far below a millimeter after five."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Arc:
    """One continuous arc: the integrator's own interpolation, step by step.

    Args:
        leg: index of the leg it belongs to.
        start_s, end_s: what it is valid for.
        knots: (m + 1,) seconds from ``start_s`` at the ends of the steps, increasing; may run past ``end_s``.
        base: (m, 7) position, velocity and time at the start of each step.
        curve: (m, 7, 7) coefficients of the interpolating polynomials.
        looks: samples of a step that see every near pass.
    """

    leg: int
    start_s: float
    end_s: float
    knots: Array
    base: Array
    curve: Array
    looks: int = 4

    def at(self, step: NDArray[np.intp], x: Array) -> Array:
        """Interpolate inside steps, ``x`` in [0, 1]: (n, 7)."""
        curve = self.curve[step]
        y = np.zeros((step.size, 7))
        x = x[:, np.newaxis]
        for i in range(6, -1, -1):
            y += curve[:, i]
            y *= x if i % 2 == 0 else 1.0 - x
        return y + self.base[step]

    def states(self, local_s: Array) -> Array:
        """States at seconds from the start of the piece: (n, 6)."""
        step = np.clip(np.searchsorted(self.knots, local_s, side="right") - 1, 0, len(self.base) - 1)
        begin, length = self.knots[step], np.diff(self.knots)[step]
        clock, wanted = self._clock[:, step], local_s - self.base[step, 6]
        x = (local_s - begin) / length
        for _ in range(8):
            # Horner's rule, for the value and its slope
            value, slope = clock[7].copy(), np.zeros(x.size)
            for power in clock[6::-1]:
                slope *= x
                slope += value
                value *= x
                value += power
            value -= wanted
            change = value / slope
            x = x - change
            # Newton's step is squared by the next one: this one was the last if it was small enough
            if x.size == 0 or np.max(np.abs(change)) < 1e-9:
                break
        return self.at(step, x)[:, :6]

    @functools.cached_property
    def _clock(self) -> Array:
        """Time since the start of each step as a polynomial of x in [0, 1], rising powers: (8, m)."""
        found = np.zeros((8, len(self.base)))
        for i in range(6, -1, -1):
            found[0] += self.curve[:, i, 6]
            raised = np.roll(found, 1, axis=0)
            found = raised if i % 2 == 0 else found - raised
        return found


def turning_points(piece: Arc) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Ends and turning points of the radius in one piece: times, radii, and which are inner lowest points."""
    knots = np.minimum(piece.knots, piece.end_s - piece.start_s)
    ends = piece.states(knots)
    climb = np.einsum("ij,ij->i", ends[:, :3], ends[:, 3:])
    turns = np.flatnonzero(np.signbit(climb[:-1]) != np.signbit(climb[1:]))
    low, high = knots[turns], knots[turns + 1]
    below, above = climb[turns], climb[turns + 1]
    start_sign = np.signbit(below)
    inner = low
    # a step is a fraction of a revolution, so the climb rate changes sign at most once in it; false position, in which
    # an end that stays is given half its weight (Dowell and Jarratt 1971), settles in a few rounds
    for _ in range(FALSE_POSITIONS):
        inner = high - above * (high - low) / np.where(above == below, 1.0, above - below)
        state = piece.states(inner)
        rate = np.einsum("ij,ij->i", state[:, :3], state[:, 3:])
        same = np.signbit(rate) == start_sign
        below, above = np.where(same, rate, 0.5 * below), np.where(same, 0.5 * above, rate)
        low, high = np.where(same, inner, low), np.where(same, high, inner)
    times = np.concatenate([knots[[0, -1]], inner])
    radii = np.linalg.norm(np.concatenate([ends[[0, -1], :3], piece.states(inner)[:, :3]]), axis=1)
    dips = np.concatenate([[False, False], start_sign])
    return times + piece.start_s, radii, dips


class Steps(NamedTuple):
    """Recorded steps of arcs stepped together; step k of arc i counts where k < taken[i]."""

    taken: NDArray[np.intp]
    base: Array  # (m, 7, n), or m = 0 where nothing was kept
    curve: Array  # (m, 7, 7, n)
    last: Array  # (7, n), where the last step of each began
    final: Array  # (7, n)

    def arc(self, column: int, leg: int, start_s: float, end_s: float) -> Arc:
        """One arc's own steps, copied out of the batch."""
        count = int(self.taken[column])
        base = self.base[:count, :, column].copy()
        curve = self.curve[:count, :, :, column].copy()
        return Arc(
            leg=leg,
            start_s=start_s,
            end_s=end_s,
            # at the far end of a step the interpolation is the step itself: base plus first coefficient
            knots=np.append(base[:, 6], base[-1, 6] + curve[-1, 0, 6]),
            base=base,
            curve=curve,
        )


def step_together(
    rates: Callable[[NDArray[np.intp]], Callable[[Array], Array]],
    start: Array,
    *,
    bound: float,
    until_s: Array | None,
    first_step: float,
    keep: bool,
    relative: float = RELATIVE_TOLERANCE,
    steps_max: int = STEPS_MAX,
    edges: ShadowEdges | None = None,
) -> Steps:
    """Step arcs of (7, n) together to s = ``bound``, or each until its time has reached ``until_s``.

    ``rates`` gives for some of the arcs, by their indices, the function from their states (7, m) to the rates of these.
    With ``keep`` every step is recorded with its interpolation, which costs a quarter more. ``relative`` is the error
    allowed in a step. Rates hold the light of ``edges`` as it was when the step began. Arcs that have arrived are left
    out of the rest, so that one long arc does not drag short ones along.
    """
    total = start.shape[1]
    active = np.arange(total)
    current = start
    last, final = start.copy(), start.copy()
    taken = np.zeros(total, dtype=np.intp)
    record: list[tuple[NDArray[np.intp], Array, Array]] = []
    scale = np.empty_like(start)
    scale[:3], scale[3:6] = np.linalg.norm(start[:3], axis=0), np.linalg.norm(start[3:6], axis=0)
    scale[6] = scale[0] / scale[3]
    reached, step = 0.0, first_step
    while active.size:
        n = active.size
        solver = _solver(rates(active), reached, current, bound, min(step, bound - reached), relative, scale[:, active])
        arrived = np.zeros(n, dtype=bool)
        while not arrived.any():
            poll()
            before, f_before = solver.y.reshape(7, n), solver.f.reshape(7, n)
            message = _stepped(solver)
            if solver.status == "failed" or not np.all(np.isfinite(solver.y)):
                raise FlightError(f"integration stopped at s = {float(solver.t)!r}: {message or 'not finite'}")
            if keep:
                record.append((active, before, solver.dense_output().F.reshape(7, 7, n)))
            if edges is not None:
                put_in(solver, edges, active, before, f_before, record[-1][2] if keep else None)
            taken[active] += 1
            if taken.max() > steps_max:
                raise FlightError(f"no end after {steps_max} steps")
            current = solver.y.reshape(7, n)
            if solver.status == "finished":
                arrived[:] = True
            elif until_s is not None:
                arrived = current[6] >= until_s[active]
        last[:, active], final[:, active] = before, current
        reached, step = float(solver.t), float(solver.h_abs)
        active, current = active[~arrived], current[:, ~arrived]
    bases = np.zeros((len(record), 7, total))
    curves = np.zeros((len(record), 7, 7, total))
    for k, (chosen, y, f) in enumerate(record):
        bases[k][:, chosen] = y
        curves[k][:, :, chosen] = f
    return Steps(taken, bases, curves, last, final)


def _solver(
    rate: Callable[[Array], Array],
    from_s: float,
    state: Array,
    bound: float,
    first_step: float,
    relative: float,
    scale: Array,
) -> Any:
    """scipy's integrator of arcs side by side; the stubs of its attributes are those of the base class only."""
    from scipy.integrate import DOP853

    n = state.shape[1]
    # scipy takes the root mean square over all arcs; dividing keeps each single arc within the tolerance
    tolerance = max(relative / math.sqrt(n), TOLERANCE_FLOOR)
    return DOP853(
        lambda _, y: rate(y.reshape(7, -1)).ravel(),
        from_s,
        state.ravel(),
        bound,
        rtol=np.repeat([tolerance, SCIPY_FLOOR], [6 * n, n]),  # type: ignore[arg-type] # as the next
        atol=(tolerance * scale).ravel(),  # type: ignore[arg-type] # the stubs know floats only
        first_step=first_step,
    )


def _stepped(solver: Any) -> str | None:
    """Take one step; a fall through the center shows in the state, and warns of nothing."""
    try:
        with np.errstate(all="ignore"):
            message: str | None = solver.step()
    except ArithmeticError as fault:
        raise FlightError(f"integration stopped at s = {float(solver.t)!r}: {fault}") from fault
    return message


def coast(
    gravity: Gravity,
    start: Array,
    duration_s: Array,
    keep: bool,
    relative: float = RELATIVE_TOLERANCE,
    extra: Extra | None = None,
) -> tuple[Array, Steps]:
    """Fly arcs without thrust: states (6, n) over durations (n,), > 0; also the steps."""
    # an open orbit would reach infinity in a finite s: no step of s = 1 may be longer than the whole arc
    gm, pull, rush = gravity.gm, gravity.pull, 1.0 / duration_s

    def rate(least: Number, x: Number, y: Number, z: Number, u: Number, v: Number, w: Number) -> tuple[Number, ...]:
        square = x * x + y * y + z * z
        # a power of a half is a square root, others cost ten times as much
        cube = square * square**0.5
        pace = 1.0 / ((gm / cube) ** 0.5 + least)
        a, b, c = pull(x, y, z, square, cube)
        return u * pace, v * pace, w * pace, a * pace, b * pace, c * pace, pace

    steady, edges = (None, None) if extra is None else light_apart(extra, gm)

    def scaled(chosen: NDArray[np.intp]) -> Callable[[Array], Array]:
        least = rush[chosen]
        if extra is not None:
            more = None if steady is None else steady.of(chosen)

            def all_of_it(y: Array) -> Array:
                found = np.array(rate(least, *y[:6]))
                if more is not None:
                    found[3:6] += more.acceleration(y[6], y[:3], y[3:6]) * found[6]
                if edges is not None:
                    found[3:6] += edges.steady(chosen, y) * found[6]
                return found

            return all_of_it
        if chosen.size > FEW:
            return lambda y: np.array(rate(least, *y[:6]))
        one_by_one = least.tolist()
        return lambda y: np.array([rate(*row) for row in zip(one_by_one, *y[:6].tolist(), strict=True)]).T

    begin = np.vstack([start, np.zeros(start.shape[1])])
    if edges is not None:
        edges.hold(np.arange(start.shape[1]), begin)
    inverse = 2.0 / np.linalg.norm(start[:3], axis=0) - np.sum(start[3:] ** 2, axis=0) / gm
    turns = float(np.max(duration_s * np.sqrt(gm * np.maximum(inverse, 0.0) ** 3))) / (2.0 * math.pi)
    steps = step_together(
        scaled,
        begin,
        bound=math.inf,
        until_s=duration_s,
        first_step=0.1,
        keep=keep,
        relative=relative,
        steps_max=max(STEPS_A_TURN * math.ceil(turns), STEPS_MAX // 10),
        edges=edges,
    )
    rest = None if extra is None else extra.later(steps.last[6])
    return land(gravity, steps.last[:6], duration_s - steps.last[6], rest), steps


def _in_time(
    gravity: Gravity, length_s: Array, more: Extra | None, push: Callable[[Array], Array] | None = None
) -> Callable[[Array], Array]:
    """Rates of states (7, n) by shares of times (n,), under gravity, a push and more forces, m/s^2."""

    def rate(y: Array) -> Array:
        out = np.empty_like(y)
        out[:3] = y[3:6]
        out[3:6] = gravity.acceleration(y[:3])
        if push is not None:
            out[3:6] += push(y)
        if more is not None:
            out[3:6] += more.acceleration(y[6], y[:3], y[3:6])
        out[6] = 1.0
        out *= length_s
        return out

    return rate


def land(gravity: Gravity, start: Array, remaining_s: Array, extra: Extra | None = None) -> Array:
    """Fly arcs without thrust over short times of either sign, in time itself: (6, n)."""

    def timed(chosen: NDArray[np.intp]) -> Callable[[Array], Array]:
        return _in_time(gravity, remaining_s[chosen], None if extra is None else extra.of(chosen))

    begin = np.vstack([start, np.zeros(start.shape[1])])
    return step_together(timed, begin, bound=1.0, until_s=None, first_step=1.0, keep=False).final[:6]


def thrust_arc(
    gravity: Gravity,
    start: Array,
    duration_s: Array,
    models: Sequence[FiniteThrust],
    mass_kg: Array,
    direction: Array,
    extra: Extra | None = None,
) -> tuple[Array, Steps]:
    """Fly arcs under thrust: (6, n), durations (n,) > 0, directions (3, n) in the frame that the steering holds."""
    thrust = np.array([model.thrust_n for model in models])
    flow = np.array([model.flow_kg_s for model in models])
    held = np.array([model.steering for model in models])

    def timed(chosen: NDArray[np.intp]) -> Callable[[Array], Array]:
        push, mass, loss = thrust[chosen], mass_kg[chosen], flow[chosen]
        held_to = [(steering, np.flatnonzero(held[chosen] == steering)) for steering in ("local", "velocity")]

        def pushed(y: Array) -> Array:
            aim = direction[:, chosen]
            for steering, moving in held_to:
                if moving.size:
                    axes = steering_axes(y[:3, moving].T, y[3:6, moving].T, steering)
                    aim[:, moving] = np.einsum("nij,in->jn", axes, aim[:, moving])
            return np.asarray(aim * (push / (mass - loss * y[6])))

        return _in_time(gravity, duration_s[chosen], None if extra is None else extra.of(chosen), pushed)

    begin = np.vstack([start, np.zeros(start.shape[1])])
    steps = step_together(timed, begin, bound=1.0, until_s=None, first_step=0.25, keep=True)
    return steps.final[:6], steps


def steering_axes(position: Array, velocity: Array, steering: str) -> Array:
    """Axes, as rows, (n, 3, 3), that a steering holds its direction to."""
    if steering == "inertial":
        return np.broadcast_to(np.eye(3), (len(position), 3, 3))
    if steering == "local":
        return frames.local_axes(position, velocity)
    # the local axes of a "position" along the velocity: velocity, then at right angles to it, then across
    return frames.local_axes(velocity, -position)
