"""The commands ``compare``, ``budget``, ``risk`` and ``slips``: what else could be, what errors cost, what if."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from ...models.errors import InputError
from ...models.printable import printable
from ..console import complain, width
from .deliver import again, deliver
from .planned import FIRST_SHARE, by_bulge_alone, ended_status, entries_status, picked, run_of, scenario_of, there
from .planning import known_craft
from .progress import shown_progress

COUNTED = "They count here in what keeping the ring takes, and nowhere else."

KEEPING_SHARE = 0.7
"""Of the time that is left: what the flight under further forces may take that says what trims keeping needs."""


def compare(arguments: argparse.Namespace) -> int:
    """Strategies for one scenario, or several scenarios, side by side."""
    from ...models.reading.scenario_reader import read_scenario

    read = [read_scenario(there(file), arguments.settings) for file in arguments.scenarios]
    from ...optimizer.studies.strategies import compare_scenarios, compare_strategies
    from ..compare import compare_json, compare_text, write_compare

    with shown_progress(arguments) as progress, run_of(arguments) as run:
        if len(read) == 1:
            entries = compare_strategies(read[0], progress)
        else:
            entries = compare_scenarios(list(zip(_short_names(arguments.scenarios), read, strict=True)), progress)
    found = any(entry.plan is not None for entry in entries)
    first = argparse.Namespace(scenario=arguments.scenarios[0], settings=arguments.settings)
    deliver(
        arguments,
        lambda: compare_text(entries, width()),
        json=lambda: compare_json(entries),
        files=lambda out: write_compare(entries, out),
        kept="Tables, comparison and figure",
        following=[("the plans of one of them", again(first, "plan"))] if found else [],
    )
    return entries_status(entries, run)


def _short_names(files: Sequence[str]) -> list[str]:
    """Files by their stems, or as typed where stems are alike: the names in texts, tables and figures."""
    files = [printable(file) for file in files]
    stems = [Path(file).stem for file in files]
    return [stem if stems.count(stem) == 1 else file for stem, file in zip(stems, files, strict=True)]


def budget(arguments: argparse.Namespace) -> int:
    """What errors and keeping cost, and what to load."""
    from ...models import deadline
    from ...models.deadline import ENDED, share

    given = scenario_of(arguments)
    scenario = by_bulge_alone(given)
    from ...optimizer.robustness.budget import make_budget
    from ...optimizer.robustness.flights_with_errors import refuse_without_errors
    from ...optimizer.robustness.keeping import keeping_with_trims
    from ...optimizer.robustness.under_forces import said_by_bulge
    from ..budget import budget_json, budget_text, nothing_flown, write_budget

    refuse_without_errors(scenario)
    with shown_progress(arguments) as progress, run_of(arguments) as run:
        outcome = picked(arguments, scenario, run, progress)
        outcome = said_by_bulge(outcome, given, COUNTED if given.ring.hold_wanted else "")
        progress("what keeping the ring takes")
        with deadline.searching(share(KEEPING_SHARE)):
            kept = keeping_with_trims(outcome, given)
        try:
            made = make_budget(outcome, arguments.samples, arguments.seed, progress, keeping=kept)
        except ENDED:
            complain(f"ringwright: {nothing_flown(outcome)}")
            return ended_status(run)
    deliver(
        arguments,
        lambda: budget_text(made, width()),
        json=lambda: budget_json(made),
        files=lambda out: write_budget(made, out),
        kept="Text, budget and figure",
        following=[("what each craft has to do", again(arguments, "sheet"))],
    )
    return 0


def risk(arguments: argparse.Namespace) -> int:
    """Plans weighed by late and lost launches."""
    given = scenario_of(arguments)
    scenario = by_bulge_alone(given)
    from ...models.deadline import share
    from ...optimizer.robustness.under_forces import said_by_bulge
    from ...optimizer.robustness.weighing import refuse_unweighable, study
    from ..risk import risk_json, risk_text, write_risk

    refuse_unweighable(scenario)
    with shown_progress(arguments) as progress, run_of(arguments) as run:
        outcome = said_by_bulge(picked(arguments, scenario, run, progress, share(FIRST_SHARE)), given)
        found = study(outcome, arguments.samples, arguments.seed, progress)
    deliver(
        arguments,
        lambda: risk_text(found, width()),
        json=lambda: risk_json(found),
        files=(lambda out: write_risk(found, out)) if found.plans else None,
        kept="Text, answer and figure",
        following=[("what one late launch costs", again(arguments, "slips"))],
    )
    return 0 if found.plans else ended_status(run)


def slips(arguments: argparse.Namespace) -> int:
    """What late launches and lost craft cost."""
    given = scenario_of(arguments)
    scenario = by_bulge_alone(given)
    from ...models.deadline import share
    from ...optimizer.robustness.under_forces import said_by_bulge
    from ...optimizer.studies.slips import make_slips
    from ..slips import slips_json, slips_text
    from ..typed import quantity

    late_s = tuple(quantity(text, "time", "--slip") for text in arguments.slip.split(","))
    spare_s = quantity(arguments.spare_after, "time", "--spare-after")
    if min(late_s) <= 0.0 or spare_s < 0.0:
        raise InputError("a launch slips to a later time: times above 0 would be accepted.", where="--slip")
    known_craft(arguments.craft, [*(c.name for c in scenario.craft), *(c.name for c in scenario.carriers)])
    with shown_progress(arguments) as progress, run_of(arguments) as run:
        outcome = said_by_bulge(picked(arguments, scenario, run, progress, share(FIRST_SHARE)), given)
        found = make_slips(outcome, late_s, spare_s, frozenset(arguments.craft), progress)
    deliver(
        arguments,
        lambda: slips_text(found, width()),
        json=lambda: slips_json(found),
        following=[("the next plan, once it is known what happened", again(arguments, "replan", "--observed", "FILE"))],
    )
    return 0 if found.reached else ended_status(run)
