"""The public functions: read a scenario, ask, and get an answer with data frames, text and pictures.

Arguments are in SI units and radians, as their names say. Every function may be given the path of a scenario file
instead of a scenario.
"""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ...models.reading.scenario_reader import read_scenario
from ...models.scenario import Scenario
from .answers import Budgeted, Comparison, Periods, Planned, Replanned, Swept

if TYPE_CHECKING:
    from ...models.reading.observed import Observed
    from ...optimizer.outcome import Outcome

Given = Scenario | str | os.PathLike[str]


def plan(scenario: Given, *, fronts: bool = False, worth: bool = False, time_limit_s: float = math.inf) -> Planned:
    """Plan a scenario: ranked plans, each flown numerically, and the front of delta-v against finish.

    Args:
        scenario: as read, or the path of its file.
        fronts: whether to walk the other fronts too (worst craft, propellant, first service).
        worth: whether to work out what time is worth to the dearest craft in space.
        time_limit_s: the search ends then, with what was proved by then.

    Returns:
        The answer; without a plan within the limits it has none and says which limit binds.

    Raises:
        InputError: the scenario cannot be used.

    >>> from ringwright import parse_scenario, plan
    >>> from ringwright.scenarios import text
    >>> answer = plan(parse_scenario(text("one-craft-mars")))
    >>> [round(part, 1) for part in answer.burns["along_m_s"][:2].tolist()]
    [-26.9, 26.9]
    """
    from ...optimizer.plan import make_plan

    left_s = _clock(time_limit_s)
    return Planned(outcome=make_plan(_read(scenario), fronts=fronts, price=worth, left_s=left_s))


def period(
    *,
    gm_m3_s2: float,
    ring_radius_m: float,
    lead_rad: float,
    floor_radius_m: float,
    other_apsis_m: float | None = None,
    ceiling_radius_m: float = math.inf,
    revolutions_max: int = 12,
    within_s: float = math.inf,
) -> Periods:
    """Every period that brings a craft at the ring into its slot after whole revolutions. Two-body, impulsive.

    Args:
        gm_m3_s2: gravitational parameter of the body.
        ring_radius_m: radius of the ring.
        lead_rad: how far the slot is ahead of the craft; behind is negative.
        floor_radius_m: lowest radius allowed.
        other_apsis_m: radius of the other apsis of the orbit on which the craft comes; None for a craft on the ring.
        ceiling_radius_m: highest radius allowed.
        revolutions_max: most phasing revolutions.
        within_s: longest time until the craft is in its slot.
    """
    from ...models.frames import wrap
    from ...optimizer.period import Question, fitting

    question = Question(
        gm=gm_m3_s2,
        ring_radius_m=ring_radius_m,
        lead_rad=float(wrap(lead_rad)),
        other_m=ring_radius_m if other_apsis_m is None else other_apsis_m,
        floor_m=floor_radius_m,
        ceiling_m=ceiling_radius_m,
        revolutions_max=revolutions_max,
        within_s=within_s,
    )
    return Periods(question=question, found=fitting(question))


def budget(planned: Planned | Given, *, samples: int = 100_000, seed: int = 1) -> Budgeted:
    """What errors of launch, burns and readings cost, and what to load.

    Args:
        planned: an answer of :func:`plan`, or a scenario, which is planned first. It states its errors in ``[errors]``.
        samples: flights of each craft.
        seed: of the random numbers.

    Raises:
        InputError: no errors are stated, there is no plan, or a route has no budget.
    """
    from ...models.errors import InputError
    from ...optimizer.robustness.budget import make_budget
    from ...optimizer.robustness.flights_with_errors import refuse_without_errors
    from ...optimizer.robustness.keeping import keeping_with_trims
    from ...optimizer.robustness.under_forces import as_made

    if not isinstance(planned, Planned):
        scenario = _read(planned)
        refuse_without_errors(scenario)
        planned = plan(scenario)
    if not planned.feasible:
        raise InputError("there is no plan within the limits, so there is nothing to load for: see its text.")
    kept = keeping_with_trims(planned.outcome, planned.outcome.scenario)
    flown = planned.outcome if planned.outcome.plans[0].rank == 1 else as_made(planned.outcome)
    return Budgeted(budget=make_budget(flown, samples, seed, keeping=kept))


def replan(
    planned: Planned | Given,
    observed: str | os.PathLike[str] | Sequence[str | os.PathLike[str]] = (),
    *,
    craft: str | None = None,
    period_s: float | None = None,
    periapsis_radius_m: float | None = None,
    apoapsis_radius_m: float | None = None,
    now_s: float | None = None,
) -> Replanned:
    """The best plan from here, from what was seen of the craft, in files or read of one craft when a burn was cut off.

    Args:
        planned: the plan that is being flown, or a scenario, which is planned first. Another plan than the best one is
            taken by :meth:`Planned.picked`.
        observed: a file of observations, or several in the order of their times; none where ``craft`` is given.
        craft: whose period or apsides were read, after the files; its place is taken from the plan.
        period_s: its period at cut-off (osculating).
        periapsis_radius_m, apoapsis_radius_m: its apsides from the body's center.
        now_s: from when on to plan, from the epoch; a minute after the cut-off of its first burn at the ring without.

    Raises:
        InputError: nothing was seen, what was seen contradicts the scenario, or there is no plan to go on from.
    """
    from ...models.errors import InputError
    from ...models.reading.observed import read_observed
    from ...optimizer.replan.cut_off import Reading, observed_at_cut_off
    from ...optimizer.replan.resumed_plan import go_on
    from ...optimizer.robustness.under_forces import as_made

    files = [observed] if isinstance(observed, str | os.PathLike) else list(observed)
    looks: list[Callable[[Outcome], Observed]] = [
        lambda now, file=file: read_observed(file, now.scenario, now.ring)  # type: ignore[misc]
        for file in files
    ]
    if craft is not None:
        reading = Reading(
            craft=craft,
            period_s=period_s,
            periapsis_m=periapsis_radius_m,
            apoapsis_m=apoapsis_radius_m,
            now_s=now_s,
        )
        looks.append(lambda now: observed_at_cut_off(now, reading))
    if not looks:
        raise InputError("nothing says what was seen: give a file of observations, or a craft and its period.")
    if not isinstance(planned, Planned):
        planned = plan(planned)
    if not planned.feasible:
        raise InputError("there is no plan within the limits to go on from: see its text.")
    flown = planned.outcome if planned.outcome.plans[0].rank == 1 else as_made(planned.outcome)
    done, here = go_on(flown, looks)
    return Replanned(done=done, after=None if here is None else Planned(outcome=here.outcome))


def compare(*scenarios: Given, time_limit_s: float = math.inf) -> Comparison:
    """Strategies for one scenario, or several scenarios, side by side.

    Raises:
        InputError: a scenario cannot be used.
    """
    from ...optimizer.studies.strategies import compare_scenarios, compare_strategies

    read = [_read(one) for one in scenarios]
    left_s = _clock(time_limit_s)
    if len(read) == 1:
        return Comparison(entries=compare_strategies(read[0], left_s=left_s))
    named = [(one.title, one) for one in read]
    return Comparison(entries=compare_scenarios(named, left_s=left_s))


def sweep(scenario: str | os.PathLike[str], *vary: str, settings: Sequence[str] = (), workers: int = 1) -> Swept:
    """A scenario planned over a grid of values of one or two of its keys.

    Args:
        scenario: path of its file.
        vary: such as ``"ring.altitude_km=400..2000:50"`` or ``"ring.slots=3,4,6"``.
        settings: overrides for all points, such as ``"limits.finish_within_d=20"``.
        workers: processes; 1 plans in this one.

    Raises:
        InputError: the file or what is varied cannot be used.
    """
    from concurrent.futures import ThreadPoolExecutor

    from ...models.reading.toml_text import file_text
    from ...optimizer.studies.executors import local_executor
    from ...optimizer.studies.sweep import first_that_reads, grid
    from ...optimizer.studies.sweep import sweep as run

    file = os.fspath(scenario)
    over = grid(file_text(Path(file), file), file, settings, vary)
    first = first_that_reads(over)
    # one at a time is done in this process, so that a script needs no guard against being imported by its workers
    with ThreadPoolExecutor(1) if workers == 1 else local_executor(workers) as executor:
        return Swept(scenario=first, over=over, rows=tuple(run(over, executor)))


def _read(scenario: Given) -> Scenario:
    return scenario if isinstance(scenario, Scenario) else read_scenario(scenario)


def _clock(limit_s: float) -> Callable[[], float]:
    end_s = time.monotonic() + limit_s
    return lambda: max(end_s - time.monotonic(), 0.0)
