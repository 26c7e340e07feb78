"""The options of every command, in one place: what can be typed, with an example of each command."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Sequence

from ... import __version__
from ...models.errors import InputError
from ..console import say
from ..emphasis import CHOICES
from ..run_limits import add_run_limits
from . import completion, desk, planning, reference, replan, studies, sweep
from .option_types import file_place, folder_place, port, rank, samples, seed, workers

Run = Callable[[argparse.Namespace], int]

FIGURES = ("front", "turning_view", "unrolled_ring", "timeline", "spacing", "worth_of_time", "strip", "motion")
"""Figures that can be asked for by name."""

EXAMPLE = "example: "
"""Begins the last part of a help page."""


class Parser(argparse.ArgumentParser):
    """A parser whose mistakes are bad input like any other."""

    def error(self, message: str) -> None:  # type: ignore[override]
        raise InputError(f"{_with_near(message)}; see: {self.prog} --help", where="command line")

    def _print_message(self, message: str, file: object = None) -> None:
        # a help page that cannot be printed is said like any other text
        say(message)


def _with_near(message: str) -> str:
    """A message about a choice that there is not, with the nearest one that there is.

    >>> _with_near("argument COMMAND: invalid choice: 'plam' (choose from 'plan', 'page')")
    "argument COMMAND: invalid choice: 'plam' (choose from 'plan', 'page'); did you mean plan?"
    """
    typed = re.search(r"invalid choice: '([^']*)' \(choose from (.*)\)", message)
    known = [] if typed is None else [one.strip(" '") for one in typed[2].split(",")]
    if typed is None:
        return message
    import difflib

    near = difflib.get_close_matches(typed[1], known, n=1, cutoff=0.6)
    if not near and "plan" in known:
        from ...scenarios import near_names

        near = [f"ringwright new {name} {name}.toml" for name in near_names(typed[1])[:1]]
    return f"{message}; did you mean {near[0]}?" if near else message


class _Help(argparse.HelpFormatter):
    """Fills paragraphs, and breaks an example so that it can still be pasted into a shell."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if not text.startswith(EXAMPLE):
            return super()._fill_text(text, width, indent)
        from ..layout import shell_lines

        lines = shell_lines(text.removeprefix(EXAMPLE), width - len(indent), indent=f"{indent}  ")
        return "\n".join([f"{indent}{EXAMPLE.rstrip()}", *lines])


class _Commands:
    """The commands of a parser; each is added with what it does and an example."""

    def __init__(self, whole: argparse.ArgumentParser) -> None:
        self._added = whole.add_subparsers(title="commands", metavar="COMMAND")

    def add(self, name: str, run: Run, what: str, example: str) -> argparse.ArgumentParser:
        """Add a command; ``example`` is what is typed behind its name."""
        made: argparse.ArgumentParser = self._added.add_parser(
            name,
            help=what,
            description=f"{what[0].upper()}{what[1:]}.",
            epilog=f"{EXAMPLE}ringwright {name} {example}",
            formatter_class=_Help,
        )
        made.set_defaults(run=run)
        _color(made)
        return made


def parser(typed: Sequence[str]) -> argparse.ArgumentParser:
    """The parser of a command line.

    Args:
        typed: what was typed; the options of a command that nobody asks for need not be loaded.
    """
    whole = Parser(
        prog="ringwright",
        description="Plan an evenly spaced relay ring: launch timing, phasing orbits, delta-v against time. "
        "A planning aid, not flight software.",
        epilog=f"{EXAMPLE}ringwright new daily-window my-ring.toml",
        formatter_class=_Help,
    )
    whole.add_argument("--version", action="version", version=f"ringwright {__version__}")
    whole.set_defaults(run=reference.questions, color="auto")
    commands = _Commands(whole)
    _plan(commands)
    _page(commands)
    _desk(commands)
    _figure(commands)
    _sheet(commands)
    _compare(commands)
    _sweep(commands)
    _budget(commands)
    _risk(commands)
    _replan(commands)
    _slips(commands)
    _period(commands, typed)
    _reference(commands)
    _completion(commands)
    return whole


def _plan(commands: _Commands) -> None:
    plan = commands.add(
        "plan",
        planning.plan,
        "ranked plans for a scenario, flown, with the price of time",
        "my-ring.toml --out plans --ccsds flights",
    )
    _scenario(plan)
    _rank(plan)
    plan.add_argument(
        "--json",
        type=file_place,
        metavar="PATH",
        help="write the result as JSON; - for standard output and nothing else",
    )
    _out(plan, "write tables, result and figures into a directory")
    plan.add_argument(
        "--ccsds", type=folder_place, metavar="DIR", help="write the flights as orbit messages (CCSDS OEM, OPM) there"
    )
    plan.add_argument(
        "--calendar", type=file_place, metavar="FILE", help="write liftoffs, burns and looks as iCalendar (.ics)"
    )
    plan.add_argument("--excel", type=file_place, metavar="FILE", help="write the tables as a workbook (.xlsx)")
    plan.add_argument(
        "--fronts", action="store_true", help="compute the other fronts too: worst craft, propellant, first service"
    )
    add_run_limits(plan)


def _page(commands: _Commands) -> None:
    page = commands.add(
        "page",
        planning.page,
        "the plans as one page to open in a browser: pick, play, compare, print",
        "my-ring.toml --out my-ring.html",
    )
    _scenario(page)
    _rank(page)
    page.add_argument(
        "--out", metavar="FILE", default="ringwright.html", help="file to write; default: ringwright.html"
    )
    add_run_limits(page)


def _desk(commands: _Commands) -> None:
    made = commands.add(
        "desk",
        desk.desk,
        "the page served on this machine: change the scenario, see it planned again",
        "my-ring.toml",
    )
    _scenario(made)
    made.add_argument("--port", type=port, default=0, metavar="N", help="port to listen on; default: a free one")
    add_run_limits(made, "search after each change")


def _figure(commands: _Commands) -> None:
    figure = commands.add(
        "figure",
        planning.figure,
        "one figure of a plan as a file, for a paper or a slide, still or moving",
        "turning_view my-ring.toml --for slide",
    )
    figure.add_argument(
        "name",
        metavar="NAME",
        help=f"{', '.join(FIGURES[:-2])}, strip (moments side by side) or motion (an animated picture); of a ring with "
        "several planes turning_view_plane_1 and so on",
    )
    _scenario(figure)
    _rank(figure)
    figure.add_argument(
        "--out", metavar="FILE", help="file to write, .svg, .png or .pdf, .gif for motion; default: NAME.svg"
    )
    figure.add_argument(
        "--for",
        dest="form",
        choices=("column", "slide"),
        help="sized for a column of 86 mm, or for a slide; default: a report",
    )
    add_run_limits(figure)


def _sheet(commands: _Commands) -> None:
    sheet = commands.add(
        "sheet",
        planning.sheet,
        "maneuver sheets of a plan: what to do, what to read, how exact it has to be",
        "my-ring.toml --craft Birch --out sheets",
    )
    _scenario(sheet)
    sheet.add_argument("--craft", action="append", default=[], metavar="NAME", help="only this craft; may be repeated")
    _rank(sheet)
    _out(sheet, "write each sheet as text, Markdown and PDF into a directory")
    add_run_limits(sheet)


def _compare(commands: _Commands) -> None:
    compare = commands.add(
        "compare",
        studies.compare,
        "strategies for a scenario, or whole scenarios, side by side",
        "my-ring.toml other-ring.toml",
    )
    compare.add_argument(
        "scenarios", metavar="SCENARIO", nargs="+", help="a scenario file (TOML); several are compared with one another"
    )
    _settings(compare)
    _json(compare, "the comparison")
    _out(compare, "write tables, comparison and a figure of all fronts")
    add_run_limits(compare)


def _sweep(commands: _Commands) -> None:
    made = commands.add(
        "sweep",
        sweep.sweep,
        "a scenario over a grid of values of one or two of its keys",
        "my-ring.toml --vary ring.altitude_km=400..2000:50 --csv rows.csv",
    )
    _scenario(made)
    made.add_argument(
        "--vary",
        action="append",
        default=[],
        metavar="KEY=VALUES",
        help="ring.altitude_km=400..2000:50 or ring.slots=3,4,6; KEY,KEY=... gives several keys the same value",
    )
    made.add_argument(
        "--csv", type=file_place, metavar="FILE", help="write rows as they are ready; a second run goes on from them"
    )
    _out(made, "write table, text and figure into a directory")
    where = made.add_mutually_exclusive_group()
    where.add_argument("--workers", type=workers, metavar="N", help="processes on this machine; default: one a core")
    where.add_argument("--cluster", metavar="ADDRESS", help="address of a Dask scheduler (needs the extra [cluster])")
    add_run_limits(made, "search each point")


def _budget(commands: _Commands) -> None:
    budget = commands.add(
        "budget",
        studies.budget,
        "what errors of launch, burns and readings cost, and what to load",
        "my-ring.toml --set errors.burn_share=0.01 --set errors.pointing_deg=0.5",
    )
    _scenario(budget)
    _rank(budget)
    budget.add_argument(
        "--samples", type=samples, default=100_000, metavar="N", help="flights of each craft; default: 100000"
    )
    budget.add_argument("--seed", type=seed, default=1, metavar="N", help="seed of the random numbers; default: 1")
    _json(budget, "the budget")
    _out(budget, "write text, budget and figure into a directory")
    add_run_limits(budget)


def _risk(commands: _Commands) -> None:
    made = commands.add(
        "risk",
        studies.risk,
        "plans weighed by late and lost launches: by when the ring is done, what spares are worth",
        "my-ring.toml --set risk.slip_share=0.4 --set risk.slip_mean_d=2",
    )
    _scenario(made)
    made.add_argument("--samples", type=samples, default=20_000, metavar="N", help="rings of each plan; default: 20000")
    made.add_argument("--seed", type=seed, default=1, metavar="N", help="seed of the random numbers; default: 1")
    _json(made, "the answer")
    _out(made, "write text, answer and figure into a directory")
    add_run_limits(made)


def _replan(commands: _Commands) -> None:
    made = commands.add(
        "replan",
        replan.replan,
        "the best plan from here, from what was seen of the craft",
        "my-ring.toml --craft Birch --period 3:14:00",
    )
    _scenario(made)
    _rank(made)
    made.add_argument(
        "--observed",
        metavar="FILE",
        action="append",
        default=[],
        help="what was seen, and when (TOML); may be repeated in order of time, each from the plan of the one before",
    )
    replan.add_reading(made)
    _json(made, "the new plan")
    _out(made, "write the plan from here, its tables, figures and sheets there")
    add_run_limits(made)


def _slips(commands: _Commands) -> None:
    slips = commands.add(
        "slips",
        studies.slips,
        "what a late launch costs, and what can replace a craft that is lost",
        "my-ring.toml --craft Birch --slip 6h,2d",
    )
    _scenario(slips)
    _rank(slips)
    slips.add_argument("--slip", metavar="TIMES", default="6h,1d,3d", help="delays to examine; default: 6h,1d,3d")
    slips.add_argument(
        "--spare-after",
        metavar="TIME",
        default="30d",
        help="a spare is launched no sooner than this much later; default: 30d",
    )
    slips.add_argument("--craft", metavar="NAME", action="append", default=[], help="only this one; may be repeated")
    _json(slips, "the answer")
    add_run_limits(slips)


def _period(commands: _Commands, typed: Sequence[str]) -> None:
    example = "--around earth --ring 10000km --slot-ahead 86deg --from 190x10000km --floor 140km --within 3d"
    period = commands.add(
        "period", reference.period, "the one-craft question, without a file: which period to have at cut-off", example
    )
    # the options of a command that nobody asks for need not be loaded
    if "period" in typed:
        from ..period.command import add_arguments

        add_arguments(period)


def _reference(commands: _Commands) -> None:
    check = commands.add("check", reference.check, "read a scenario and say what was understood", "my-ring.toml")
    _scenario(check)
    schema = commands.add(
        "schema",
        reference.schema,
        "JSON Schema of scenario, observations or result, for editors",
        "scenario > ring.json",
    )
    schema.add_argument(
        "of", metavar="KIND", choices=("scenario", "observed", "result"), help="scenario, observed, result"
    )
    bodies = commands.add(
        "bodies", reference.bodies, "the built-in planets and moons, or one of them, ready to copy", "mars"
    )
    bodies.add_argument("name", metavar="NAME", nargs="?", help="only this one")
    new = commands.add(
        "new", reference.new, "write a bundled scenario to a file of your own", "daily-window my-ring.toml"
    )
    new.add_argument("name", metavar="NAME", help="name of the bundled scenario; bare `ringwright` lists them")
    new.add_argument("file", metavar="FILE", help="file to write; it must not exist yet")


def _completion(commands: _Commands) -> None:
    made = commands.add(
        "completion",
        completion.completion,
        "a script with which a shell completes what is typed",
        "bash > ~/.local/share/bash-completion/completions/ringwright",
    )
    made.add_argument("shell", metavar="SHELL", choices=completion.SHELLS, help="bash, zsh, fish")


def _color(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--color",
        choices=CHOICES,
        default="auto",
        help="bold headings and colored warnings; default: auto, on a terminal unless NO_COLOR is set",
    )


def _scenario(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scenario", metavar="SCENARIO", help="a scenario file (TOML)")
    _settings(parser)


def _settings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--set",
        dest="settings",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="override one key, as in --set ring.altitude_km=9000; may be repeated",
    )


def _rank(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--plan", type=rank, metavar="RANK", help="the plan of that rank; default: 1, the best")


def _json(parser: argparse.ArgumentParser, what: str) -> None:
    parser.add_argument("--json", type=file_place, metavar="PATH", help=f"write {what} as JSON; - for standard output")


def _out(parser: argparse.ArgumentParser, what: str) -> None:
    parser.add_argument("--out", type=folder_place, metavar="DIR", help=what)
