"""A scenario planned over a grid of values of one or two of its keys.

Pure: a point is a text and settings, a row is what planning it gave. The caller brings an executor of
``concurrent.futures``: processes of this machine, or a cluster.
"""

from __future__ import annotations

import hashlib
import itertools
import math
from collections.abc import Callable, Collection, Generator, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, as_completed
from contextlib import AbstractContextManager
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import partial
from typing import NamedTuple

from ...models.deadline import Deadline, within
from ...models.errors import InputError, RingwrightError
from ...models.memory import within_memory
from ...models.reading.scenario_reader import parse_scenario
from ...models.scenario import Scenario
from ..outcome import Infeasible, Margin
from .strategies import Strategy, judge

POINTS_MAX = 100_000
"""More points than this are refused: a slip in a step, most likely."""

REPLACED_MAX = 5
"""Workers are replaced this often in one run; who loses more has another trouble."""

SUSPECTS = 64
"""Points at the head of those that were lost, one of which may have ended its worker."""


@dataclass(frozen=True, kw_only=True)
class Vary:
    """One varied quantity: the keys that take its value together, and the values as the scenario file writes them."""

    keys: tuple[str, ...]
    values: tuple[str, ...]

    @property
    def name(self) -> str:
        """The keys as typed."""
        return ",".join(self.keys)

    @property
    def short(self) -> str:
        """The first key without its table.

        >>> Vary(keys=("ring.altitude_km", "craft.Teal.orbit.altitude_km"), values=("400",)).short
        'altitude_km'
        """
        return self.keys[0].rpartition(".")[2]

    def settings(self, value: str) -> tuple[str, ...]:
        """What sets the keys to one of the values."""
        return tuple(f"{key}={value}" for key in self.keys)


@dataclass(frozen=True, kw_only=True)
class Grid:
    """A scenario and what is varied in it.

    Args:
        text, file: the scenario as written, and what messages call it.
        settings: overrides that hold at every point.
        varied: one or two quantities.
    """

    text: str
    file: str
    settings: tuple[str, ...]
    varied: tuple[Vary, ...]

    @property
    def points(self) -> tuple[tuple[str, ...], ...]:
        """Every combination of values, the last quantity fastest."""
        return tuple(itertools.product(*(vary.values for vary in self.varied)))

    @property
    def mark(self) -> str:
        """A short digest of the scenario and its overrides, to know rows of another one by."""
        asked = "\n".join([self.text, *self.settings])
        return hashlib.sha256(asked.encode()).hexdigest()[:12]


class PointLimits(NamedTuple):
    """How long one point may be searched, s, and how much memory the process that does it may hold."""

    time_s: float
    memory_bytes: float


UNLIMITED = PointLimits(time_s=math.inf, memory_bytes=math.inf)


@dataclass(frozen=True, kw_only=True)
class Row:
    """What one point gave. Numbers are those of the best plan by the goal, flown; None where there is none.

    ``clearance_m`` and ``tightest`` as in a comparison; ``infeasible`` why there is no plan; ``refused`` why the
    scenario cannot be planned with these values at all; ``undecided`` says that the search was ended before a plan was
    flown or proved impossible.
    """

    values: tuple[str, ...]
    delta_v_m_s: float | None = None
    worst_delta_v_m_s: float | None = None
    propellant_kg: float | None = None
    finish_s: float | None = None
    first_service_s: float | None = None
    clearance_m: float | None = None
    tightest: Margin | None = None
    broken: tuple[str, ...] = ()
    proved: bool = False
    infeasible: Infeasible | None = None
    refused: str = ""
    undecided: bool = False


def vary(text: str) -> Vary:
    """Read what is varied: ``key=first..last:step`` or ``key=value,value``; several keys take the same value.

    Args:
        text: such as ``ring.altitude_km=400..2000:50`` or ``ring.altitude_km,launch.insertion.apoapsis_km=400,900``.

    Raises:
        InputError: it cannot be read.

    >>> vary("ring.altitude_km=400..500:50").values, vary("ring.slots=3,4,6").values
    (('400', '450', '500'), ('3', '4', '6'))
    >>> vary("limits.clearance_km=0..0.3:0.1").values
    ('0', '0.1', '0.2', '0.3')
    """
    left, equals, right = text.partition("=")
    keys = tuple(key.strip() for key in left.split(","))
    values = tuple(value.strip() for value in right.split(","))
    if not equals or not all(keys) or not all(values):
        raise _unread(text, "write key=first..last:step, such as ring.altitude_km=400..2000:50, or key=3,4,6.")
    if not text.isprintable():
        raise _unread(text, "a control character stands in it: write plain text.")
    if ".." in right:
        values = _steps(text, right)
    if len(set(values)) < len(values):
        raise _unread(text, "a value is given twice: keep it once.")
    return Vary(keys=keys, values=values)


def _steps(text: str, right: str) -> tuple[str, ...]:
    ends, colon, by = right.partition(":")
    low, _, high = ends.partition("..")
    try:
        first, last, step = Decimal(low.strip()), Decimal(high.strip()), Decimal(by.strip())
    except InvalidOperation:
        missing = "" if colon else " and has no step"
        raise _unread(text, f"{right} is no range{missing}: write first..last:step, such as 400..2000:50.") from None
    if not (first.is_finite() and last.is_finite() and step.is_finite()) or step <= 0 or last < first:
        raise _unread(
            text, f"{right} does not lead up from {low} to {high}: write a smaller value first, a step above 0."
        )
    count = int((last - first) / step) + 1
    if count > POINTS_MAX:
        raise _unread(text, f"{right} has {count} values: at most {POINTS_MAX} would be accepted, take a larger step.")
    return tuple(f"{(first + i * step).normalize():f}" for i in range(count))


def _unread(text: str, problem: str) -> InputError:
    return InputError(f"--vary {text}: {problem}")


def grid(text: str, file: str, settings: Sequence[str], varied: Sequence[str]) -> Grid:
    """A scenario with what is varied in it, each as :func:`vary` reads it.

    Raises:
        InputError: nothing, too much or the same key twice is varied, or a setting of a key that is varied too.
    """
    if not 1 <= len(varied) <= 2:
        raise InputError(f"{len(varied)} quantities are varied: give --vary once or twice.")
    made = tuple(vary(one) for one in varied)
    keys = [key for one in made for key in one.keys]
    twice = next((key for key in keys if keys.count(key) > 1), None)
    if twice is not None:
        raise InputError(f"--vary names {twice} twice: give all its values at once.")
    found = Grid(text=text, file=file, settings=tuple(settings), varied=made)
    size = 1
    for one in made:
        size *= len(one.values)
    if size > POINTS_MAX:
        raise InputError(f"the grid has {size} points: at most {POINTS_MAX} would be accepted, take larger steps.")
    return found


def first_that_reads(over: Grid) -> Scenario:
    """The scenario of the first point that can be planned at all.

    Raises:
        InputError: there is none; what is wrong with the first point, such as a key that does not exist.
    """
    fault: InputError | None = None
    for point in over.points:
        try:
            return parse_scenario(over.text, over.file, settings_of(over, point))
        except InputError as problem:
            fault = fault or problem
    assert fault is not None
    raise fault


def settings_of(over: Grid, point: tuple[str, ...]) -> tuple[str, ...]:
    """All overrides at a point."""
    own = (s for one, value in zip(over.varied, point, strict=True) for s in one.settings(value))
    return (*over.settings, *own)


def plan_point(
    text: str, file: str, settings: tuple[str, ...], values: tuple[str, ...], limits: PointLimits = UNLIMITED
) -> Row:
    """Plan one point: everything it needs is in its arguments, so that it can run anywhere.

    Args:
        settings: all overrides, those of the varied keys among them.
        values: the varied values, handed back with the row.
    """
    try:
        scenario = parse_scenario(text, file, settings)
        with within(Deadline(limit_s=limits.time_s)), within_memory(limits.memory_bytes):
            entry = judge(scenario, Strategy(name="point", about="scenario"), any_front=False, why=True)
    except InputError as fault:
        return Row(values=values, refused=fault.problem)
    plan = entry.plan
    if plan is None:
        return Row(values=values, infeasible=entry.infeasible, undecided=entry.undecided)
    return Row(
        values=values,
        delta_v_m_s=plan.delta_v_m_s,
        worst_delta_v_m_s=plan.worst_delta_v_m_s,
        propellant_kg=plan.propellant_kg,
        finish_s=plan.finish_s,
        first_service_s=entry.first_service_s,
        clearance_m=entry.clearance_m,
        tightest=entry.tightest,
        broken=tuple(sorted({broken.limit for broken in plan.broken})),
        proved=entry.proof is not None and entry.proof.status == "optimal",
    )


class WorkersLostError(RingwrightError):
    """Workers were ended from outside, killed or short of memory; ``waiting`` are the points without a row."""

    def __init__(self, waiting: tuple[tuple[str, ...], ...]) -> None:
        self.waiting = waiting
        super().__init__(f"{len(waiting)} points lost their workers")


def sweep(
    over: Grid,
    executor: Executor,
    done: Collection[tuple[str, ...]] = (),
    progress: Callable[[str], None] = lambda _: None,
    *,
    last: Collection[tuple[str, ...]] = (),
    limits: PointLimits = UNLIMITED,
) -> Iterator[Row]:
    """Plan every point that is not done yet; rows come as they are ready, in any order.

    Args:
        executor: any of ``concurrent.futures``; its workers must be able to import this package.
        done: values of points to leave out.
        last: points to plan after all others.

    Raises:
        WorkersLostError: the executor broke; every row that was ready has come before.
    """
    ready, late = frozenset(done), frozenset(last)
    points = over.points
    waiting = sorted((point for point in points if point not in ready), key=late.__contains__)
    plan = partial(plan_point, limits=limits)
    futures: dict[Future[Row], tuple[str, ...]] = {}
    lost: list[tuple[str, ...]] = []
    try:
        for point in waiting:
            futures[executor.submit(plan, over.text, over.file, settings_of(over, point), point)] = point
    except BrokenExecutor:
        lost += waiting[len(futures) :]
    number = len(points) - len(waiting)
    # points not begun are dropped with the executor: it alone may cancel them, or its own thread stumbles over one
    for future in as_completed(futures):
        try:
            row = future.result()
        except BrokenExecutor:
            lost.append(futures[future])
            continue
        number += 1
        yield row
        progress(f"{number} of {len(points)} points")
    if lost:
        gone = frozenset(lost)
        raise WorkersLostError(tuple(point for point in waiting if point in gone))


def sweep_through(
    over: Grid,
    executors: Callable[[], AbstractContextManager[Executor]],
    done: Collection[tuple[str, ...]] = (),
    progress: Callable[[str], None] = lambda _: None,
    *,
    replaced: Callable[[str], None] = lambda _: None,
    limits: PointLimits = UNLIMITED,
) -> Generator[Row, None, None]:
    """As :func:`sweep`, with new workers where some were ended from outside.

    A point that may have ended its worker, by its need of memory for one, is planned after all others.

    Args:
        executors: opens an executor; called again for each set of workers.
        replaced: called with a sentence when workers were replaced.

    Raises:
        WorkersLostError: workers were lost more than :data:`REPLACED_MAX` times.
    """
    ready = set(done)
    suspect: set[tuple[str, ...]] = set()
    for losses in itertools.count(1):
        try:
            with executors() as executor:
                for row in sweep(over, executor, ready, progress, last=suspect, limits=limits):
                    ready.add(row.values)
                    yield row
            return
        except WorkersLostError as lost:
            if losses > REPLACED_MAX:
                raise
            # those at the head were under way
            suspect.update(lost.waiting[:SUSPECTS])
            replaced(
                f"a worker was ended from outside (killed, or short of memory); {len(lost.waiting)} points are left "
                "and go to new workers."
            )
