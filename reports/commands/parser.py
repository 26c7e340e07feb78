"""The options of every command, in one place: what can be typed, with an example of each command."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial

from ... import __version__
from ..run_limits import add_run_limits
from . import completion, desk, planning, reference, replan, respace, studies, sweep
from .argument_parser import EXAMPLE, Commands, Help, Parser
from .common_options import GIVEN, RANK, SEED, SETTINGS, either, flag, json_of, option, out, several
from .option_types import file_place, folder_place, plane, port, samples, slots, slots_deg, workers

FIGURES = ("front", "turning_view", "unrolled_ring", "timeline", "spacing", "worth_of_time", "strip", "motion")
"""Figures that can be asked for by name."""

PLAN = (
    *GIVEN,
    RANK,
    option("--json", "PATH", "write the result as JSON; - for standard output and nothing else", type=file_place),
    out("write tables, result and figures into a directory"),
    option("--ccsds", "DIR", "write the flights as orbit messages (CCSDS OEM, OPM) there", type=folder_place),
    option("--calendar", "FILE", "write liftoffs, burns and looks as iCalendar (.ics)", type=file_place),
    option("--excel", "FILE", "write the tables as a workbook (.xlsx)", type=file_place),
    flag("--fronts", "compute the other fronts too: worst craft, propellant, first service"),
    add_run_limits,
)
PAGE = (
    *GIVEN,
    RANK,
    option("--out", "FILE", "file to write; default: ringwright.html", default="ringwright.html"),
    add_run_limits,
)
DESK = (
    *GIVEN,
    option("--port", "N", "port to listen on; default: a free one", type=port, default=0),
    partial(add_run_limits, what="search after each change"),
)
FIGURE = (
    option(
        "name",
        "NAME",
        f"{', '.join(FIGURES[:-2])}, strip (moments side by side) or motion (an animated picture); of a ring with "
        "several planes turning_view_plane_1 and so on",
    ),
    *GIVEN,
    RANK,
    option("--out", "FILE", "file to write, .svg, .png or .pdf, .gif for motion; default: NAME.svg"),
    option(
        "--for",
        None,
        "sized for a column of 86 mm, or for a slide; default: a report",
        dest="form",
        choices=("column", "slide"),
    ),
    add_run_limits,
)
SHEET = (
    *GIVEN,
    several("--craft", "NAME", "only this craft; may be repeated"),
    RANK,
    out("write each sheet as text, Markdown and PDF into a directory"),
    add_run_limits,
)
COMPARE = (
    option("scenarios", "SCENARIO", "a scenario file (TOML); several are compared with one another", nargs="+"),
    SETTINGS,
    json_of("the comparison"),
    out("write tables, comparison and a figure of all fronts"),
    add_run_limits,
)
SWEEP = (
    *GIVEN,
    several(
        "--vary",
        "KEY=VALUES",
        "ring.altitude_km=400..2000:50 or ring.slots=3,4,6; KEY,KEY=... gives several keys the same value",
    ),
    option("--csv", "FILE", "write rows as they are ready; a second run goes on from them", type=file_place),
    out("write table, text and figure into a directory"),
    either(
        option("--workers", "N", "processes on this machine; default: one a core", type=workers),
        option("--cluster", "ADDRESS", "address of a Dask scheduler (needs the extra [cluster])"),
    ),
    partial(add_run_limits, what="search each point"),
)
BUDGET = (
    *GIVEN,
    RANK,
    option("--samples", "N", "flights of each craft; default: 100000", type=samples, default=100_000),
    SEED,
    json_of("the budget"),
    out("write text, budget and figure into a directory"),
    add_run_limits,
)
RISK = (
    *GIVEN,
    option("--samples", "N", "rings of each plan; default: 20000", type=samples, default=20_000),
    SEED,
    json_of("the answer"),
    out("write text, answer and figure into a directory"),
    add_run_limits,
)
REPLAN = (
    *GIVEN,
    RANK,
    several(
        "--observed",
        "FILE",
        "what was seen, and when (TOML); may be repeated in order of time, each from the plan of the one before",
    ),
    replan.add_reading,
    json_of("the new plan"),
    out("write the plan from here, its tables, figures and sheets there"),
    add_run_limits,
)
RESPACE = (
    *GIVEN,
    either(
        option("--slots", "N", "slots of the ring then; default: one for each craft left", type=slots),
        option(
            "--slots-deg",
            "LIST",
            "slots in place of even ones: degrees ahead of slot 0, as 0,40,180",
            type=slots_deg,
        ),
    ),
    several("--lost", "NAME", "a craft that is gone; may be repeated"),
    several("--fixed", "NAME", "a craft that stays where it is, the ring laid through it; may be repeated"),
    option("--plane", "K", "the plane that is spread, counted from 0; default: each with a loss", type=plane),
    flag(
        "--spares",
        "the slots stay: which spare to call for each craft that may be lost, or for each --lost alone",
    ),
    flag("--after-plan", "craft where plan 1 leaves them, all times counted from its end"),
    option("--write", "FILE", "write the re-spaced scenario to a file that is not there yet", type=file_place),
    flag(
        "--fronts",
        "compute the other fronts too: worst craft, propellant, first service; not for several planes together",
    ),
    json_of("the result"),
    out("write tables, result and figures into a directory"),
    add_run_limits,
)
SLIPS = (
    *GIVEN,
    RANK,
    option("--slip", "TIMES", "delays to examine; default: 6h,1d,3d", default="6h,1d,3d"),
    option("--spare-after", "TIME", "a spare is launched no sooner than this much later; default: 30d", default="30d"),
    several("--craft", "NAME", "only this one; may be repeated"),
    json_of("the answer"),
    add_run_limits,
)
"""Options of each command, in the order in which its help shows them."""


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
    _of_plans(commands)
    _of_studies(commands)
    _of_craft_up(commands)
    _without_planning(commands, typed)
    return whole


def _of_plans(commands: Commands) -> None:
    what = "ranked plans for a scenario, flown, with the price of time"
    commands.add("plan", planning.plan, what, "my-ring.toml --out plans --ccsds flights", *PLAN)
    what = "the plans as one page to open in a browser: pick, play, compare, print"
    commands.add("page", planning.page, what, "my-ring.toml --out my-ring.html", *PAGE)
    what = "the page served on this machine: change the scenario, see it planned again"
    commands.add("desk", desk.desk, what, "my-ring.toml", *DESK)
    what = "one figure of a plan as a file, for a paper or a slide, still or moving"
    commands.add("figure", planning.figure, what, "turning_view my-ring.toml --for slide", *FIGURE)
    what = "maneuver sheets of a plan: what to do, what to read, how exact it has to be"
    commands.add("sheet", planning.sheet, what, "my-ring.toml --craft Birch --out sheets", *SHEET)


def _of_studies(commands: Commands) -> None:
    what = "strategies for a scenario, or whole scenarios, side by side"
    commands.add("compare", studies.compare, what, "my-ring.toml other-ring.toml", *COMPARE)
    what = "a scenario over a grid of values of one or two of its keys"
    example = "my-ring.toml --vary ring.altitude_km=400..2000:50 --csv rows.csv"
    commands.add("sweep", sweep.sweep, what, example, *SWEEP)
    what = "what errors of launch, burns and readings cost, and what to load"
    example = "my-ring.toml --set errors.burn_share=0.01 --set errors.pointing_deg=0.5"
    commands.add("budget", studies.budget, what, example, *BUDGET)
    what = "plans weighed by late and lost launches: by when the ring is done, what spares are worth"
    example = "my-ring.toml --set risk.slip_share=0.4 --set risk.slip_mean_d=2"
    commands.add("risk", studies.risk, what, example, *RISK)


def _of_craft_up(commands: Commands) -> None:
    what = "the best plan from here, from what was seen of the craft"
    commands.add("replan", replan.replan, what, "my-ring.toml --craft Birch --period 3:14:00", *REPLAN)
    what = "the craft that are up spread evenly again, after a loss or for another number of slots"
    commands.add("respace", respace.respace, what, "my-ring.toml --lost Birch --after-plan", *RESPACE)
    what = "what a late launch costs, and what can replace a craft that is lost"
    commands.add("slips", studies.slips, what, "my-ring.toml --craft Birch --slip 6h,2d", *SLIPS)


def _without_planning(commands: Commands, typed: Sequence[str]) -> None:
    what = "the one-craft question, without a file: which period to have at cut-off"
    example = "--around earth --ring 10000km --slot-ahead 86deg --from 190x10000km --floor 140km --within 3d"
    period = commands.add("period", reference.period, what, example)
    if "period" in typed:
        from ..period.command import add_arguments

        add_arguments(period)
    what = "read a scenario and say what was understood"
    commands.add("check", reference.check, what, "my-ring.toml", *GIVEN)
    what = "JSON Schema of scenario, observations or result, for editors"
    kind = option("of", "KIND", "scenario, observed, result", choices=("scenario", "observed", "result"))
    commands.add("schema", reference.schema, what, "scenario > ring.json", kind)
    what = "the built-in planets and moons, or one of them, ready to copy"
    commands.add("bodies", reference.bodies, what, "mars", option("name", "NAME", "only this one", nargs="?"))
    what = "write a bundled scenario to a file of your own"
    name = option("name", "NAME", "name of the bundled scenario; bare `ringwright` lists them")
    file = option("file", "FILE", "file to write; it must not exist yet")
    commands.add("new", reference.new, what, "daily-window my-ring.toml", name, file)
    what = "a script with which a shell completes what is typed"
    example = "bash > ~/.local/share/bash-completion/completions/ringwright"
    shell = option("shell", "SHELL", "bash, zsh, fish", choices=completion.SHELLS)
    commands.add("completion", completion.completion, what, example, shell)
