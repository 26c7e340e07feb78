"""The commands ``plan``, ``page``, ``figure`` and ``sheet``: a scenario planned, and its plans to read."""

from __future__ import annotations

import argparse

from ...models.errors import InputError
from ..console import say, width
from .deliver import again, deliver, next_text
from .exports import check_exports, exports
from .planned import picked, run_of, scenario_of, status_of, without_plan
from .progress import shown_progress


def plan(arguments: argparse.Namespace) -> int:
    """Ranked plans, flown, with the price of time."""
    scenario = scenario_of(arguments)
    check_exports(arguments, scenario)
    from ...optimizer.one_plan import plan_of_rank
    from ...optimizer.plan import make_plan
    from ..folder import write_folder
    from ..result import result_text
    from ..terminal import plan_text

    with shown_progress(arguments) as progress, run_of(arguments) as run:
        outcome = make_plan(scenario, progress, fronts=arguments.fronts, price=arguments.out is not None)
    rank = arguments.plan
    if outcome.plans:
        plan_of_rank(outcome, rank)  # one that there is not is refused before anything is written
    following = without_plan(arguments, outcome)
    if outcome.plans:
        following = [("what each craft has to do", again(arguments, "sheet"))]
    if outcome.plans and arguments.out is None:
        following.append(("tables and pictures", again(arguments, "plan", "--out", "DIR")))
    elif outcome.plans and arguments.ccsds is None:
        following.append(("the flights for other tools", again(arguments, "plan", "--ccsds", "DIR")))
    deliver(
        arguments,
        lambda: plan_text(outcome, width(), rank),
        json=lambda: result_text(outcome),
        files=lambda out: write_folder(outcome, out, rank),
        kept="Tables, result and figures",
        more=exports(arguments, outcome) if outcome.plans else (),
        following=following,
    )
    return status_of(outcome, run)


def page(arguments: argparse.Namespace) -> int:
    """The plans as one page for a browser."""
    scenario = scenario_of(arguments)
    from ...optimizer.plan import make_plan
    from ..page.page import write_page
    from ..terminal import answer_text

    with shown_progress(arguments) as progress:
        with run_of(arguments) as run:
            outcome = make_plan(scenario, progress)
        rank = arguments.plan if outcome.plans else None
        write_page(outcome, arguments.out, progress, rank)
    say(f"{answer_text(outcome)}\nThe page is {arguments.out}: open it in a browser.\n")
    following = [("what each craft has to do", again(arguments, "sheet"))]
    say(next_text(following if outcome.plans else without_plan(arguments, outcome), width()))
    return status_of(outcome, run)


def figure(arguments: argparse.Namespace) -> int:
    """One figure of a plan as a file."""
    scenario = scenario_of(arguments)
    from ..figures.single import figure_file, write_figure

    place = figure_file(arguments.name, arguments.out)
    with shown_progress(arguments) as progress:
        with run_of(arguments) as run:
            outcome = picked(arguments, scenario, run, progress, price=arguments.name == "worth_of_time")
        chosen = outcome.plans[0]
        write_figure(outcome, chosen, arguments.name, place, form=arguments.form, progress=progress)
    say(f"{arguments.name} of plan {chosen.rank} is in {place}.\n")
    say(next_text([("all tables and pictures", again(arguments, "plan", "--out", "DIR"))], width()))
    return 0


def sheet(arguments: argparse.Namespace) -> int:
    """Maneuver sheets of one plan."""
    scenario = scenario_of(arguments)
    known_craft(arguments.craft, [craft.name for craft in scenario.craft])
    from ..sheet.files import write_sheets
    from ..sheet.sheet import sheets
    from ..sheet.text import sheet_text

    with shown_progress(arguments) as progress:
        with run_of(arguments) as run:
            outcome = picked(arguments, scenario, run, progress)
        progress("maneuver sheets")
        found = sheets(outcome, outcome.plans[0], arguments.craft)
    following = []
    if found:
        read = ("--craft", found[0].craft, "--period", "H:MM:SS")
        following.append(("once a burn is cut off, with the period read then", again(arguments, "replan", *read)))
    deliver(
        arguments,
        lambda: "\n".join(sheet_text(one, width()) for one in found) or "Nothing to do: no craft has to move.\n",
        files=(lambda out: write_sheets(found, out)) if found else None,
        kept="Text, Markdown and PDF of each",
        following=following,
    )
    return 0


def known_craft(names: list[str], known: list[str]) -> None:
    """Raise InputError for a name of ``--craft`` that the scenario has not."""
    for name in names:
        if name not in known:
            raise InputError(
                f"--craft {name!r} is no craft of the scenario: give one of {', '.join(known)}.", where="command line"
            )
