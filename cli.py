"""The command line: a thin skin over the functions that a notebook calls.

Exit status: 0 a plan; 2 bad input; 3 no plan within the limits; 130 interrupted or told to end; 1 a fault of ours, or
standard output that does not take the text.
"""

from __future__ import annotations

import argparse
import math
import os
import shlex
import shutil
import signal
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from . import __version__
from .models.errors import InputError
from .models.printable import printable
from .reports.console import Ended, OutputLostError, complain, ending_in_order, flush, give_up, kept_words, say
from .reports.files import kept_files

if TYPE_CHECKING:
    from concurrent.futures import Executor
    from contextlib import AbstractContextManager

LOST, BAD_INPUT, NO_PLAN, INTERRUPTED = 1, 2, 3, 130

PATIENCE_S = 2.0
"""Progress is shown once a command has taken this long."""


class _Parser(argparse.ArgumentParser):
    """A parser whose mistakes are bad input like any other."""

    def error(self, message: str) -> None:  # type: ignore[override]
        raise InputError(f"{message}; see: {self.prog} --help", where="command line")

    def _print_message(self, message: str, file: object = None) -> None:
        # a help page that cannot be printed is said like any other text
        say(message)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit status. ``arguments`` default to those of the process."""
    # our matrices are small: the threads that NumPy's library would start for them only spin
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with kept_files() as kept:
        try:
            with ending_in_order():
                return _command(arguments)
        except InputError as error:
            complain(f"ringwright: {error}")
            return BAD_INPUT
        except OutputLostError as fault:
            give_up()
            complain(f"ringwright: {fault}; {kept_words(kept)}.")
            return LOST
        except KeyboardInterrupt as fault:
            how = f"ended by {fault}" if isinstance(fault, Ended) else "interrupted"
            complain(f"ringwright: {how}; {kept_words(kept)}.")
            return INTERRUPTED


def _command(arguments: Sequence[str] | None) -> int:
    """Run a command, to the last character that it prints."""
    try:
        typed = sys.argv[1:] if arguments is None else list(arguments)
        parsed = _parser(typed).parse_args(typed)
        run: Callable[[argparse.Namespace], int] = parsed.run
        return run(parsed)
    finally:
        # what a buffer still holds can fail as well as what was printed, a help page included
        flush()


def _parser(typed: Sequence[str]) -> argparse.ArgumentParser:
    parser = _Parser(
        prog="ringwright",
        description="Plan an evenly spaced relay ring: launch timing, phasing orbits, delta-v against time. "
        "A planning aid, not flight software.",
    )
    parser.add_argument("--version", action="version", version=f"ringwright {__version__}")
    parser.set_defaults(run=_questions)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    plan = commands.add_parser("plan", help="ranked plans for a scenario, flown, with the price of time")
    _scenario(plan)
    plan.add_argument(
        "--json", type=_file, metavar="PATH", help="write the result as JSON; - for standard output and nothing else"
    )
    plan.add_argument("--out", type=_folder, metavar="DIR", help="write tables, result and figures into a directory")
    plan.add_argument(
        "--fronts", action="store_true", help="walk the other fronts too: worst craft, propellant, first service"
    )
    _time_limit(plan)
    plan.set_defaults(run=_plan)

    page = commands.add_parser("page", help="the plans as one page to open in a browser: pick, play, compare, print")
    _scenario(page)
    page.add_argument("--out", metavar="FILE", default="ringwright.html", help="file to write: ringwright.html")
    _time_limit(page)
    page.set_defaults(run=_page)

    figure = commands.add_parser(
        "figure", help="one figure of a plan as a file, for a paper or a slide, still or moving"
    )
    figure.add_argument(
        "name",
        metavar="NAME",
        help="front, turning_view, unrolled_ring, timeline, worth_of_time, strip (moments side by side) or motion "
        "(an animated picture); of a ring with several planes turning_view_plane_1 and so on",
    )
    _scenario(figure)
    figure.add_argument("--out", metavar="FILE", help="file to write, .svg, .png or .pdf, .gif for motion: NAME.svg")
    figure.add_argument(
        "--for",
        dest="form",
        choices=("column", "slide"),
        help="sized for a column of 86 mm, or for a slide; default: a report",
    )
    figure.add_argument("--plan", type=_rank, default=1, metavar="RANK", help="plan of that rank; default: 1")
    _time_limit(figure)
    figure.set_defaults(run=_figure)

    sheet = commands.add_parser("sheet", help="maneuver sheets of a plan: what to do, to read, and how exactly")
    _scenario(sheet)
    sheet.add_argument("--craft", action="append", default=[], metavar="NAME", help="only this craft; may be repeated")
    sheet.add_argument("--plan", type=_rank, default=1, metavar="RANK", help="plan of that rank; default: 1")
    sheet.add_argument(
        "--out", type=_folder, metavar="DIR", help="write each sheet as text, Markdown and PDF into a directory"
    )
    sheet.set_defaults(run=_sheet)

    compare = commands.add_parser("compare", help="strategies for a scenario, or whole scenarios, side by side")
    compare.add_argument(
        "scenarios", metavar="SCENARIO", nargs="+", help="a scenario file (TOML); several are compared with one another"
    )
    _settings(compare)
    compare.add_argument(
        "--json", type=_file, metavar="PATH", help="write the comparison as JSON; - for standard output"
    )
    compare.add_argument(
        "--out", type=_folder, metavar="DIR", help="write tables, comparison and a figure of all fronts"
    )
    _time_limit(compare)
    compare.set_defaults(run=_compare)

    sweep = commands.add_parser("sweep", help="a scenario over a grid of values of one or two of its keys")
    _scenario(sweep)
    sweep.add_argument(
        "--vary",
        action="append",
        default=[],
        metavar="KEY=VALUES",
        help="ring.altitude_km=400..2000:50 or ring.slots=3,4,6; KEY,KEY=... gives several keys the same value",
    )
    sweep.add_argument(
        "--csv", type=_file, metavar="FILE", help="write rows as they are ready; a second run goes on from them"
    )
    sweep.add_argument("--out", type=_folder, metavar="DIR", help="write table, text and figure into a directory")
    where = sweep.add_mutually_exclusive_group()
    where.add_argument("--workers", type=_workers, metavar="N", help="processes on this machine; default: one a core")
    where.add_argument("--cluster", metavar="ADDRESS", help="address of a Dask scheduler (needs the extra [cluster])")
    sweep.set_defaults(run=_sweep)

    budget = commands.add_parser("budget", help="what errors of launch, burns and readings cost, and what to load")
    _scenario(budget)
    budget.add_argument("--samples", type=_samples, default=100_000, metavar="N", help="flights of each craft: 100000")
    budget.add_argument("--seed", type=_seed, default=1, metavar="N", help="of the random numbers: 1")
    budget.add_argument("--json", type=_file, metavar="PATH", help="write the budget as JSON; - for standard output")
    budget.add_argument("--out", type=_folder, metavar="DIR", help="write text, budget and figure into a directory")
    budget.set_defaults(run=_budget)

    replan = commands.add_parser("replan", help="the best plan from here, from what was seen of the craft")
    _scenario(replan)
    replan.add_argument(
        "--observed",
        metavar="FILE",
        action="append",
        required=True,
        help="what was seen, and when (TOML); repeated in order of time, each goes on from the plan before it left",
    )
    replan.add_argument(
        "--out", type=_folder, metavar="DIR", help="write the plan from here, its tables, figures and sheets there"
    )
    replan.add_argument("--json", type=_file, metavar="PATH", help="write the new plan as JSON; - for standard output")
    replan.set_defaults(run=_replan)
    slips = commands.add_parser("slips", help="what a late launch costs, and what to do about a craft that is lost")
    _scenario(slips)
    slips.add_argument("--slip", metavar="TIMES", default="6h,1d,3d", help="how late to look at: 6h,1d,3d")
    slips.add_argument(
        "--spare-after", metavar="TIME", default="30d", help="a spare is launched this much later at the soonest: 30d"
    )
    slips.add_argument("--craft", metavar="NAME", action="append", default=[], help="only this one; may be repeated")
    slips.add_argument("--json", type=_file, metavar="PATH", help="write the answer as JSON; - for standard output")
    slips.set_defaults(run=_slips)

    period = commands.add_parser("period", help="the one-craft question, without a file: which period to hit")
    # the options of a command that nobody asks for need not be loaded
    if "period" in typed:
        from .reports.period.command import add_arguments

        add_arguments(period)
    period.set_defaults(run=_period)

    check = commands.add_parser("check", help="read a scenario and say what was understood")
    _scenario(check)
    check.set_defaults(run=_check)

    schema = commands.add_parser("schema", help="JSON Schema of scenario, observations or result, for editors")
    schema.add_argument(
        "of", metavar="KIND", choices=("scenario", "observed", "result"), help="scenario, observed, result"
    )
    schema.set_defaults(run=_schema)

    bodies = commands.add_parser("bodies", help="list the built-in planets and moons, ready to copy")
    bodies.set_defaults(run=_bodies)

    new = commands.add_parser("new", help="write a bundled scenario to a file of your own")
    new.add_argument("name", metavar="NAME", help="name of the bundled scenario; bare `ringwright` lists them")
    new.add_argument("file", metavar="FILE", help="file to write; it must not exist yet")
    new.set_defaults(run=_new)
    return parser


def _scenario(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scenario", metavar="SCENARIO", help="a scenario file (TOML)")
    _settings(parser)


def _time_limit(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--time-limit",
        type=_seconds,
        metavar="SECONDS",
        help="search no longer than that; what is not proved by then is marked with its gap",
    )


def _settings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--set",
        dest="settings",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="override one key, as in --set ring.altitude_km=9000; may be repeated",
    )


def _file(text: str) -> str:
    if text != "-" and (
        not text or "\0" in text or os.path.isdir(text) or not os.path.isdir(os.path.dirname(text) or ".")
    ):
        raise argparse.ArgumentTypeError(f"{text!r} is no place for a file: name a file in a folder that is there")
    return text


def _folder(text: str) -> str:
    place = Path(text)
    there = "\0" not in text and next((one for one in (place, *place.parents) if os.path.lexists(one)), None)
    if not text or not there or not there.is_dir():
        raise argparse.ArgumentTypeError(f"{text!r} is no place for a folder: name one, it need not be there yet")
    return text


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 < value < math.inf:
        raise argparse.ArgumentTypeError(f"{text} is no number of seconds above 0")
    return value


def _rank(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text} is no rank: plans are counted from 1")
    return int(text)


def _workers(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 1024:
        raise argparse.ArgumentTypeError(f"{text} is no number of processes from 1 to 1024")
    return int(text)


def _samples(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 1_000_000_000:
        raise argparse.ArgumentTypeError(f"{text} is no number of flights from 1 to 1 000 000 000")
    return int(text)


def _seed(text: str) -> int:
    if not text.isdecimal() or int(text) >= 2**63:
        raise argparse.ArgumentTypeError(f"{text} is no whole number from 0 on")
    return int(text)


def _width() -> int:
    return max(60, min(shutil.get_terminal_size((80, 24)).columns, 120))


class _Progress:
    """Says on the terminal what is being done, once it takes long enough to wonder."""

    def __init__(self) -> None:
        self._started = time.monotonic()
        self._live = sys.stderr is not None and sys.stderr.isatty()
        self._shown = False

    def __call__(self, what: str) -> None:
        if self._live and time.monotonic() - self._started > PATIENCE_S:
            with suppress(OSError):
                print(f"\r\033[K{printable(what)[: _width() - 1]}", end="", file=sys.stderr, flush=True)
            self._shown = True

    def done(self) -> None:
        if self._shown:
            with suppress(OSError):
                print("\r\033[K", end="", file=sys.stderr, flush=True)


class _Patience:
    """Seconds left for a search: until a limit, or until Ctrl-C; a second Ctrl-C leaves at once."""

    def __init__(self, limit_s: float | None) -> None:
        self._end_s = math.inf if limit_s is None else time.monotonic() + limit_s
        self.stopped = False

    def left_s(self) -> float:
        return 0.0 if self.stopped else max(self._end_s - time.monotonic(), 0.0)

    def __enter__(self) -> _Patience:
        self._before = signal.getsignal(signal.SIGINT)
        if threading.current_thread() is threading.main_thread():
            signal.signal(signal.SIGINT, self._interrupt)
        return self

    def _interrupt(self, *_: object) -> None:
        if self.stopped:
            raise KeyboardInterrupt
        self.stopped = True
        complain("\nringwright: stopping after this step; Ctrl-C again leaves at once.")

    def __exit__(self, *_: object) -> None:
        if threading.current_thread() is threading.main_thread():
            signal.signal(signal.SIGINT, self._before)


def _plan(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario

    scenario = read_scenario(arguments.scenario, arguments.settings)
    from .optimizer.plan import make_plan
    from .reports.terminal import plan_text

    progress = _Progress()
    with _Patience(arguments.time_limit) as patience:
        try:
            outcome = make_plan(
                scenario, progress, fronts=arguments.fronts, price=arguments.out is not None, left_s=patience.left_s
            )
        finally:
            progress.done()
    if arguments.json is not None:
        from .reports.files import write_text
        from .reports.result import result_text

        if arguments.json == "-":
            say(result_text(outcome))
        else:
            write_text(arguments.json, result_text(outcome))
    if arguments.out is not None:
        from .reports.folder import write_folder

        write_folder(outcome, arguments.out)
    if arguments.json != "-":
        command = f"ringwright plan {shlex.quote(arguments.scenario)} --out DIR" if arguments.out is None else ""
        say(plan_text(outcome, _width(), next_command=command))
        if arguments.out is not None:
            say(f"\nTables, result and figures are in {arguments.out}.\n")
    if patience.stopped and not outcome.plans:
        return INTERRUPTED
    return 0 if outcome.plans else NO_PLAN


def _page(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario

    scenario = read_scenario(arguments.scenario, arguments.settings)
    from .optimizer.plan import make_plan
    from .reports.page.page import write_page
    from .reports.terminal import answer_text

    progress = _Progress()
    with _Patience(arguments.time_limit) as patience:
        try:
            outcome = make_plan(scenario, progress, left_s=patience.left_s)
            write_page(outcome, arguments.out, progress)
        finally:
            progress.done()
    say(f"{answer_text(outcome)}\nThe page is {arguments.out}: open it in a browser.\n")
    return 0 if outcome.plans else NO_PLAN


def _figure(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario

    scenario = read_scenario(arguments.scenario, arguments.settings)
    from .optimizer.plan import make_plan
    from .reports.figures.single import figure_file, write_figure
    from .reports.terminal import infeasible_text

    place = figure_file(arguments.name, arguments.out)
    progress = _Progress()
    with _Patience(arguments.time_limit) as patience:
        try:
            outcome = make_plan(scenario, progress, price=arguments.name == "worth_of_time", left_s=patience.left_s)
            plan = next((plan for plan in outcome.plans if plan.rank == arguments.plan), None)
            if outcome.plans and plan is None:
                raise InputError(
                    f"--plan {arguments.plan}: there are plans 1 to {len(outcome.plans)}.", where="command line"
                )
            if plan is not None:
                write_figure(outcome, plan, arguments.name, place, form=arguments.form, progress=progress)
        finally:
            progress.done()
    if plan is None:
        say(infeasible_text(outcome, _width()))
        return NO_PLAN
    say(f"{arguments.name} of plan {plan.rank} is in {place}.\n")
    return 0


def _sheet(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario

    scenario = read_scenario(arguments.scenario, arguments.settings)
    known = [craft.name for craft in scenario.craft]
    for name in arguments.craft:
        if name not in known:
            raise InputError(
                f"--craft {name!r} is no craft of the scenario: give one of {', '.join(known)}.", where="command line"
            )
    from .optimizer.plan import make_plan
    from .reports.sheet.sheet import sheets
    from .reports.sheet.text import sheet_text
    from .reports.terminal import infeasible_text

    progress = _Progress()
    try:
        outcome = make_plan(scenario, progress)
        plan = next((plan for plan in outcome.plans if plan.rank == arguments.plan), None)
        if outcome.plans and plan is None:
            raise InputError(
                f"--plan {arguments.plan}: there are plans 1 to {len(outcome.plans)}.", where="command line"
            )
        progress("maneuver sheets")
        found = () if plan is None else sheets(outcome, plan, arguments.craft)
    finally:
        progress.done()
    if plan is None:
        say(infeasible_text(outcome, _width()))
        return NO_PLAN
    say("\n".join(sheet_text(one, _width()) for one in found) or "Nothing to do: no craft has to move.\n")
    if arguments.out is not None and found:
        from .reports.sheet.files import write_sheets

        write_sheets(found, arguments.out)
        say(f"\nText, Markdown and PDF of each are in {arguments.out}.\n")
    return 0


def _compare(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario

    read = [read_scenario(file, arguments.settings) for file in arguments.scenarios]
    from .optimizer.studies.strategies import compare_scenarios, compare_strategies
    from .reports.compare import compare_json, compare_text, write_compare

    progress = _Progress()
    with _Patience(arguments.time_limit) as patience:
        try:
            if len(read) == 1:
                entries = compare_strategies(read[0], progress, left_s=patience.left_s)
            else:
                named = list(zip(_short_names(arguments.scenarios), read, strict=True))
                entries = compare_scenarios(named, progress, left_s=patience.left_s)
        finally:
            progress.done()
    if arguments.json is not None:
        from .reports.files import write_text

        if arguments.json == "-":
            say(compare_json(entries))
        else:
            write_text(arguments.json, compare_json(entries))
    if arguments.out is not None:
        write_compare(entries, arguments.out)
    if arguments.json != "-":
        say(compare_text(entries, _width()))
        if arguments.out is not None:
            say(f"\nTables, comparison and figure are in {arguments.out}.\n")
    if any(entry.plan is not None for entry in entries):
        return 0
    return INTERRUPTED if patience.stopped else NO_PLAN


def _short_names(files: Sequence[str]) -> list[str]:
    """Files by their stems, or as typed where stems are alike: the names in texts, tables and figures."""
    files = [printable(file) for file in files]
    stems = [Path(file).stem for file in files]
    return [stem if stems.count(stem) == 1 else file for stem, file in zip(stems, files, strict=True)]


def _sweep(arguments: argparse.Namespace) -> int:
    from contextlib import ExitStack, closing

    from .models.reading.toml_text import file_text
    from .optimizer.studies.sweep import WorkersLostError, first_that_reads, grid, sweep_through
    from .reports.sweep import Told, in_order, sweep_text, told, write_sweep
    from .reports.sweep_file import SweepFile

    text = file_text(Path(arguments.scenario), arguments.scenario)
    over = grid(text, arguments.scenario, arguments.settings, arguments.vary)
    scenario = first_that_reads(over)
    progress = _Progress()
    rows: list[Told] = []
    stopped = lost = ""
    with ExitStack() as stack:
        file = None if arguments.csv is None else stack.enter_context(SweepFile(arguments.csv, over))
        rows = [] if file is None else file.rows
        done = {row.values for row in rows}

        def workers() -> AbstractContextManager[Executor]:
            return _executor(arguments.workers, arguments.cluster)

        try:
            if not done.issuperset(over.points):
                # closed at once when it is left early, and its workers with it
                found = stack.enter_context(closing(sweep_through(over, workers, done, progress, replaced=_replaced)))
                for row in found:
                    if file is None:
                        rows.append(told(row))
                    else:
                        file.append(told(row))
        except KeyboardInterrupt as fault:
            stopped = f"ended by {fault}" if isinstance(fault, Ended) else "stopped"
        except WorkersLostError:
            lost = "workers were ended from outside again and again (killed, or short of memory): given up"
        finally:
            progress.done()
    if arguments.out is not None and rows:
        write_sweep(scenario.title, scenario.minimize, over, rows, arguments.out)
    say(sweep_text(scenario.title, scenario.minimize, over, rows, _width()))
    if arguments.out is not None and rows:
        say(f"\nTable, text and figure are in {arguments.out}.\n")
    if stopped or lost:
        kept = f"; the same command goes on from {arguments.csv}" if arguments.csv else ""
        advice = "; fewer --workers need less memory" if lost else ""
        ready = len(in_order(over, rows))
        complain(f"ringwright: {stopped or lost} after {ready} of {len(over.points)} points{kept}{advice}.")
        return INTERRUPTED if stopped else LOST
    return 0 if any(row.fields["delta_v_m_s"] for row in rows) else NO_PLAN


def _replaced(sentence: str) -> None:
    complain(f"ringwright: {sentence}")


def _executor(workers: int | None, cluster: str | None) -> AbstractContextManager[Executor]:
    """Processes of this machine, or a Dask cluster."""
    from .optimizer.studies.executors import cluster_executor, local_executor

    return local_executor(workers) if cluster is None else cluster_executor(cluster)


def _budget(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario

    scenario = read_scenario(arguments.scenario, arguments.settings)
    from .optimizer.plan import make_plan
    from .optimizer.robustness.budget import make_budget, refuse_without_errors
    from .reports.budget import budget_json, budget_text, write_budget
    from .reports.terminal import infeasible_text

    refuse_without_errors(scenario)
    progress = _Progress()
    try:
        outcome = make_plan(scenario, progress)
        if not outcome.plans:
            progress.done()
            say(infeasible_text(outcome, _width()))
            return NO_PLAN
        budget = make_budget(outcome, arguments.samples, arguments.seed, progress)
    finally:
        progress.done()
    if arguments.json is not None:
        from .reports.files import write_text

        if arguments.json == "-":
            say(budget_json(budget))
        else:
            write_text(arguments.json, budget_json(budget))
    if arguments.out is not None:
        write_budget(budget, arguments.out)
    if arguments.json != "-":
        say(budget_text(budget, _width()))
        if arguments.out is not None:
            say(f"\nText, budget and figure are in {arguments.out}.\n")
    return 0


def _replan(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario

    scenario = read_scenario(arguments.scenario, arguments.settings)
    from .models.reading.observed import read_observed
    from .optimizer.catalogue.problem import ring_of
    from .optimizer.plan import make_plan
    from .optimizer.replan.resumed_plan import go_on
    from .reports.replan import replan_json, replan_text
    from .reports.terminal import infeasible_text

    # what cannot be is said before anything is planned
    read_observed(arguments.observed[0], scenario, ring_of(scenario))
    progress = _Progress()
    try:
        before = make_plan(scenario, progress)
        if not before.plans:
            progress.done()
            say(infeasible_text(before, _width()))
            return NO_PLAN
        looks = [lambda now, file=file: read_observed(file, now.scenario, now.ring) for file in arguments.observed]
        done, here = go_on(before, looks, progress)
        if arguments.out is not None:
            from .reports.replan_files import write_replan

            progress("tables, figures and sheets")
            write_replan(done, here, arguments.out)
    finally:
        progress.done()
    if arguments.json is not None:
        from .reports.files import write_text

        if arguments.json == "-":
            say(replan_json(done))
        else:
            write_text(arguments.json, replan_json(done))
    if arguments.json != "-":
        say(replan_text(done, _width()))
        if arguments.out is not None:
            say(f"\nThe plan from here, its tables, figures and sheets are in {arguments.out}.\n")
    return NO_PLAN if done.outcome is not None and not done.outcome.plans else 0


def _slips(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario

    scenario = read_scenario(arguments.scenario, arguments.settings)
    from .optimizer.plan import make_plan
    from .optimizer.studies.slips import make_slips
    from .reports.slips import slips_json, slips_text
    from .reports.terminal import infeasible_text
    from .reports.typed import quantity

    late_s = tuple(quantity(text, "time", "--slip") for text in arguments.slip.split(","))
    spare_s = quantity(arguments.spare_after, "time", "--spare-after")
    if min(late_s) <= 0.0 or spare_s < 0.0:
        raise InputError("a launch slips to a later time: times above 0 would be accepted.", where="--slip")
    known = [*(craft.name for craft in scenario.craft), *(carrier.name for carrier in scenario.carriers)]
    for name in arguments.craft:
        if name not in known:
            raise InputError(f"{name!r} is no craft of the scenario: give one of {', '.join(known)}.", where="--craft")
    progress = _Progress()
    try:
        outcome = make_plan(scenario, progress)
        if not outcome.plans:
            progress.done()
            say(infeasible_text(outcome, _width()))
            return NO_PLAN
        found = make_slips(outcome, late_s, spare_s, frozenset(arguments.craft), progress)
    finally:
        progress.done()
    if arguments.json is not None:
        from .reports.files import write_text

        if arguments.json == "-":
            say(slips_json(found))
        else:
            write_text(arguments.json, slips_json(found))
    if arguments.json != "-":
        say(slips_text(found, _width()))
    return 0


def _period(arguments: argparse.Namespace) -> int:
    from .reports.period.command import run

    status, text = run(arguments, _width())
    say(f"{text}\n")
    return status


def _check(arguments: argparse.Namespace) -> int:
    from .models.reading.scenario_reader import read_scenario
    from .reports.understood import understood

    say(understood(read_scenario(arguments.scenario, arguments.settings), _width()))
    return 0


def _schema(arguments: argparse.Namespace) -> int:
    import json

    from .models.reading.schema import scenario_schema
    from .reports.result_schema import result_schema

    of = {"scenario": "", "observed": "observed"}
    made = result_schema() if arguments.of == "result" else scenario_schema(of[arguments.of])
    say(json.dumps(made, indent=2) + "\n")
    return 0


def _bodies(_: argparse.Namespace) -> int:
    from .reports.body_list import body_list

    say(body_list(_width()))
    return 0


def _new(arguments: argparse.Namespace) -> int:
    from .reports.files import write_text
    from .scenarios import bundled, text

    names = bundled()
    if arguments.name not in names:
        raise InputError(
            f"there is no bundled scenario {arguments.name!r}; there are: {', '.join(names)}.", where="command line"
        )
    place = Path(arguments.file)
    if os.path.lexists(place):
        raise InputError(f"{place} exists already and is left alone: name another file.", where="command line")
    write_text(place, text(arguments.name))
    named = shlex.quote(str(place))
    say(f"Wrote {place}. Next: ringwright check {named}, then ringwright plan {named}\n")
    return 0


def _questions(_: argparse.Namespace) -> int:
    from textwrap import fill

    from .scenarios import bundled

    width = _width()
    say("Ringwright plans evenly spaced relay rings. These questions come with it:\n\n")
    for name, question in bundled().items():
        say(f"  {name}\n{fill(question, width, initial_indent='    ', subsequent_indent='    ')}\n")
    say("\nTo start from one:  ringwright new NAME my-ring.toml\n")
    say("Then:               ringwright plan my-ring.toml\n")
    say("One craft, no file: ringwright period --help\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
