"""The options of every command, in one place: what can be typed, with an example of each command."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from ... import __version__
from ..run_limits import add_run_limits
from . import completion, desk, planning, reference, replan, respace, studies, sweep
from .argument_parser import EXAMPLE, Commands, Help, Parser
from .common_options import add_json, add_out, add_rank, add_scenario, add_settings
from .option_types import file_place, folder_place, plane, port, samples, seed, slots, slots_deg, workers

FIGURES = ("front", "turning_view", "unrolled_ring", "timeline", "spacing", "worth_of_time", "strip", "motion")
"""Figures that can be asked for by name."""


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
        formatter_class=Help,
    )
    whole.add_argument("--version", action="version", version=f"ringwright {__version__}")
    whole.set_defaults(run=reference.questions, color="auto")
    commands = Commands(whole)
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
    _respace(commands)
    _slips(commands)
    _period(commands, typed)
    _reference(commands)
    _completion(commands)
    return whole


def _plan(commands: Commands) -> None:
    plan = commands.add(
        "plan",
        planning.plan,
        "ranked plans for a scenario, flown, with the price of time",
        "my-ring.toml --out plans --ccsds flights",
    )
    add_scenario(plan)
    add_rank(plan)
    plan.add_argument(
        "--json",
        type=file_place,
        metavar="PATH",
        help="write the result as JSON; - for standard output and nothing else",
    )
    add_out(plan, "write tables, result and figures into a directory")
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


def _page(commands: Commands) -> None:
    page = commands.add(
        "page",
        planning.page,
        "the plans as one page to open in a browser: pick, play, compare, print",
        "my-ring.toml --out my-ring.html",
    )
    add_scenario(page)
    add_rank(page)
    page.add_argument(
        "--out", metavar="FILE", default="ringwright.html", help="file to write; default: ringwright.html"
    )
    add_run_limits(page)


def _desk(commands: Commands) -> None:
    made = commands.add(
        "desk",
        desk.desk,
        "the page served on this machine: change the scenario, see it planned again",
        "my-ring.toml",
    )
    add_scenario(made)
    made.add_argument("--port", type=port, default=0, metavar="N", help="port to listen on; default: a free one")
    add_run_limits(made, "search after each change")


def _figure(commands: Commands) -> None:
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
    add_scenario(figure)
    add_rank(figure)
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


def _sheet(commands: Commands) -> None:
    sheet = commands.add(
        "sheet",
        planning.sheet,
        "maneuver sheets of a plan: what to do, what to read, how exact it has to be",
        "my-ring.toml --craft Birch --out sheets",
    )
    add_scenario(sheet)
    sheet.add_argument("--craft", action="append", default=[], metavar="NAME", help="only this craft; may be repeated")
    add_rank(sheet)
    add_out(sheet, "write each sheet as text, Markdown and PDF into a directory")
    add_run_limits(sheet)


def _compare(commands: Commands) -> None:
    compare = commands.add(
        "compare",
        studies.compare,
        "strategies for a scenario, or whole scenarios, side by side",
        "my-ring.toml other-ring.toml",
    )
    compare.add_argument(
        "scenarios", metavar="SCENARIO", nargs="+", help="a scenario file (TOML); several are compared with one another"
    )
    add_settings(compare)
    add_json(compare, "the comparison")
    add_out(compare, "write tables, comparison and a figure of all fronts")
    add_run_limits(compare)


def _sweep(commands: Commands) -> None:
    made = commands.add(
        "sweep",
        sweep.sweep,
        "a scenario over a grid of values of one or two of its keys",
        "my-ring.toml --vary ring.altitude_km=400..2000:50 --csv rows.csv",
    )
    add_scenario(made)
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
    add_out(made, "write table, text and figure into a directory")
    where = made.add_mutually_exclusive_group()
    where.add_argument("--workers", type=workers, metavar="N", help="processes on this machine; default: one a core")
    where.add_argument("--cluster", metavar="ADDRESS", help="address of a Dask scheduler (needs the extra [cluster])")
    add_run_limits(made, "search each point")


def _budget(commands: Commands) -> None:
    budget = commands.add(
        "budget",
        studies.budget,
        "what errors of launch, burns and readings cost, and what to load",
        "my-ring.toml --set errors.burn_share=0.01 --set errors.pointing_deg=0.5",
    )
    add_scenario(budget)
    add_rank(budget)
    budget.add_argument(
        "--samples", type=samples, default=100_000, metavar="N", help="flights of each craft; default: 100000"
    )
    budget.add_argument("--seed", type=seed, default=1, metavar="N", help="seed of the random numbers; default: 1")
    add_json(budget, "the budget")
    add_out(budget, "write text, budget and figure into a directory")
    add_run_limits(budget)


def _risk(commands: Commands) -> None:
    made = commands.add(
        "risk",
        studies.risk,
        "plans weighed by late and lost launches: by when the ring is done, what spares are worth",
        "my-ring.toml --set risk.slip_share=0.4 --set risk.slip_mean_d=2",
    )
    add_scenario(made)
    made.add_argument("--samples", type=samples, default=20_000, metavar="N", help="rings of each plan; default: 20000")
    made.add_argument("--seed", type=seed, default=1, metavar="N", help="seed of the random numbers; default: 1")
    add_json(made, "the answer")
    add_out(made, "write text, answer and figure into a directory")
    add_run_limits(made)


def _replan(commands: Commands) -> None:
    made = commands.add(
        "replan",
        replan.replan,
        "the best plan from here, from what was seen of the craft",
        "my-ring.toml --craft Birch --period 3:14:00",
    )
    add_scenario(made)
    add_rank(made)
    made.add_argument(
        "--observed",
        metavar="FILE",
        action="append",
        default=[],
        help="what was seen, and when (TOML); may be repeated in order of time, each from the plan of the one before",
    )
    replan.add_reading(made)
    add_json(made, "the new plan")
    add_out(made, "write the plan from here, its tables, figures and sheets there")
    add_run_limits(made)


def _respace(commands: Commands) -> None:
    made = commands.add(
        "respace",
        respace.respace,
        "the craft that are up spread evenly again, after a loss or for another number of slots",
        "my-ring.toml --lost Birch --after-plan",
    )
    add_scenario(made)
    places = made.add_mutually_exclusive_group()
    places.add_argument(
        "--slots", type=slots, metavar="N", help="slots of the ring then; default: one for each craft left"
    )
    places.add_argument(
        "--slots-deg",
        type=slots_deg,
        metavar="LIST",
        help="slots in place of even ones: degrees ahead of slot 0, as 0,40,180",
    )
    made.add_argument(
        "--lost", metavar="NAME", action="append", default=[], help="a craft that is gone; may be repeated"
    )
    made.add_argument(
        "--plane", type=plane, metavar="K", help="the plane that is spread, counted from 0; default: each with a loss"
    )
    made.add_argument(
        "--spares",
        action="store_true",
        help="the slots stay: which spare to call for each craft that may be lost, or for each --lost alone",
    )
    made.add_argument(
        "--after-plan", action="store_true", help="craft where plan 1 leaves them, all times counted from its end"
    )
    made.add_argument(
        "--write", type=file_place, metavar="FILE", help="write the re-spaced scenario to a file that is not there yet"
    )
    made.add_argument(
        "--fronts",
        action="store_true",
        help="compute the other fronts too: worst craft, propellant, first service; not for several planes together",
    )
    add_json(made, "the result")
    add_out(made, "write tables, result and figures into a directory")
    add_run_limits(made)


def _slips(commands: Commands) -> None:
    slips = commands.add(
        "slips",
        studies.slips,
        "what a late launch costs, and what can replace a craft that is lost",
        "my-ring.toml --craft Birch --slip 6h,2d",
    )
    add_scenario(slips)
    add_rank(slips)
    slips.add_argument("--slip", metavar="TIMES", default="6h,1d,3d", help="delays to examine; default: 6h,1d,3d")
    slips.add_argument(
        "--spare-after",
        metavar="TIME",
        default="30d",
        help="a spare is launched no sooner than this much later; default: 30d",
    )
    slips.add_argument("--craft", metavar="NAME", action="append", default=[], help="only this one; may be repeated")
    add_json(slips, "the answer")
    add_run_limits(slips)


def _period(commands: Commands, typed: Sequence[str]) -> None:
    example = "--around earth --ring 10000km --slot-ahead 86deg --from 190x10000km --floor 140km --within 3d"
    period = commands.add(
        "period", reference.period, "the one-craft question, without a file: which period to have at cut-off", example
    )
    # the options of a command that nobody asks for need not be loaded
    if "period" in typed:
        from ..period.command import add_arguments

        add_arguments(period)


def _reference(commands: Commands) -> None:
    check = commands.add("check", reference.check, "read a scenario and say what was understood", "my-ring.toml")
    add_scenario(check)
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


def _completion(commands: Commands) -> None:
    made = commands.add(
        "completion",
        completion.completion,
        "a script with which a shell completes what is typed",
        "bash > ~/.local/share/bash-completion/completions/ringwright",
    )
    made.add_argument("shell", metavar="SHELL", choices=completion.SHELLS, help="bash, zsh, fish")
