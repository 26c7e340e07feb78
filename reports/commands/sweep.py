"""The command ``sweep``: a scenario over a grid of values, by several processes, in a file that a later run goes on
from."""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from contextlib import AbstractContextManager, ExitStack, closing
from pathlib import Path
from typing import TYPE_CHECKING

from ..console import Ended, complain, width
from ..run_limits import memory_bytes
from .deliver import Next, again, deliver
from .planned import INTERRUPTED, LOST, NO_PLAN, UNDECIDED, by_bulge_alone, run_of, there
from .progress import shown_progress

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from ...optimizer.studies.sweep import Grid
    from ..sweep import TextRow


def sweep(arguments: argparse.Namespace) -> int:
    """A scenario over a grid of values of one or two of its keys."""
    from ...models.reading.toml_text import file_text
    from ...optimizer.studies.sweep import first_that_reads, grid
    from ..sweep import in_order, sweep_text, write_sweep

    text = file_text(Path(there(arguments.scenario)), arguments.scenario)
    over = grid(text, arguments.scenario, arguments.settings, arguments.vary)
    scenario = first_that_reads(over)
    rows, stopped, lost = _rows(arguments, over)
    forces = "" if stopped or lost else _forces_text(arguments, over, rows)
    deliver(
        arguments,
        lambda: sweep_text(scenario.title, scenario.minimize, over, rows, width(), forces),
        files=(lambda out: write_sweep(scenario.title, scenario.minimize, over, rows, out, forces)) if rows else None,
        kept="Table, text and figure",
        following=_following(arguments, over, rows),
    )
    if stopped or lost:
        kept = f"; the same command goes on from {arguments.csv}" if arguments.csv else ""
        advice = "; fewer --workers need less memory" if lost else ""
        ready = len(in_order(over, rows))
        complain(f"ringwright: {stopped or lost} after {ready} of {len(over.points)} points{kept}{advice}.")
        return INTERRUPTED if stopped else LOST
    if any(row.fields["delta_v_m_s"] for row in rows):
        return 0
    return UNDECIDED if any(row.fields["proof"] == "undecided" for row in rows) else NO_PLAN


def _rows(arguments: argparse.Namespace, over: Grid) -> tuple[list[TextRow], str, str]:
    """The rows, as far as they are ready; by what the sweep was stopped, and why it was given up."""
    from ...optimizer.studies.sweep import PointLimits, WorkersLostError, sweep_through
    from ..sweep import text_row
    from ..sweep_file import SweepFile

    workers = arguments.workers or os.cpu_count() or 1
    limits = PointLimits(arguments.time_limit, memory_bytes(arguments.memory_limit, workers))
    stopped = lost = ""
    with ExitStack() as stack:
        progress = stack.enter_context(shown_progress(arguments, limited=False))
        file = None if arguments.csv is None else stack.enter_context(SweepFile(arguments.csv, over))
        rows: list[TextRow] = [] if file is None else file.rows
        done = {row.values for row in rows}

        def executors() -> AbstractContextManager[Executor]:
            return _executor(arguments.workers, arguments.cluster)

        try:
            if not done.issuperset(over.points):
                # closed at once when it is left early, and its workers with it
                found = stack.enter_context(
                    closing(sweep_through(over, executors, done, progress, replaced=_replaced, limits=limits))
                )
                for row in found:
                    if file is None:
                        rows.append(text_row(row))
                    else:
                        file.append(text_row(row))
        except KeyboardInterrupt as fault:
            stopped = f"ended by {fault}" if isinstance(fault, Ended) else "stopped"
        except WorkersLostError:
            lost = "workers were ended from outside again and again (killed, or short of memory): given up"
    return rows, stopped, lost


def _forces_text(arguments: argparse.Namespace, over: Grid, rows: Sequence[TextRow]) -> str:
    """What further forces add to the plan of the point of least delta-v; empty where none matters to it, or no time is
    left."""
    from ...models.force_choice import chosen_forces
    from ...models.reading.scenario_reader import parse_scenario
    from ...optimizer.additions import corrected_or_said
    from ...optimizer.plan import make_plan
    from ...optimizer.studies.sweep import settings_of
    from ..under_forces import point_text

    costs = [(cost, row) for row in rows if (cost := row.number("delta_v_m_s")) is not None]
    if not costs:
        return ""
    row = min(costs, key=lambda one: one[0])[1]
    settings = settings_of(over, row.values)
    scenario = parse_scenario(over.text, over.file, settings)
    if scenario.forces is None or not chosen_forces(scenario, row.number("finish_s") or 0.0).field.terms:
        return ""
    with shown_progress(arguments) as progress, run_of(arguments):
        outcome = make_plan(by_bulge_alone(scenario), progress, brief=True)
        outcome = corrected_or_said(outcome, scenario, progress) if outcome.plans else outcome
    varied = [one for vary, value in zip(over.varied, row.values, strict=True) for one in vary.settings(value)]
    return point_text(outcome.under, varied)


def _following(arguments: argparse.Namespace, over: Grid, rows: Sequence[TextRow]) -> list[Next]:
    """The plans of the point of least delta-v, with keeping where that is known."""
    from ..sweep import is_kept

    kept = is_kept(rows)
    column = "with_keeping_m_s" if kept else "delta_v_m_s"
    costs = [(cost, row.values) for row in rows if (cost := row.number(column)) is not None]
    if not costs:
        return []
    _, values = min(costs)
    settings = [
        word
        for vary, value in zip(over.varied, values, strict=True)
        for setting in vary.settings(value)
        for word in ("--set", setting)
    ]
    what = "delta-v with keeping" if kept else "delta-v"
    return [(f"the plans of the point of least {what}", again(arguments, "plan", *settings))]


def _replaced(sentence: str) -> None:
    complain(f"ringwright: {sentence}")


def _executor(workers: int | None, cluster: str | None) -> AbstractContextManager[Executor]:
    """Processes of this machine, or a Dask cluster."""
    from ...optimizer.studies.executors import cluster_executor, local_executor

    return local_executor(workers) if cluster is None else cluster_executor(cluster)
