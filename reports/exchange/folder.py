"""The flights of a plan as files for other tools: orbit messages where the standard allows them, else CSV."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC
from pathlib import Path
from typing import NamedTuple

from ...models.printable import printable
from ...models.readouts import instant
from ...models.scenario import Scenario
from ...optimizer.one_plan import plan_of_rank
from ...optimizer.outcome import Outcome
from ..files import whole_directory, write_text
from ..safe_text import csv_cell, file_stem
from .ephemeris import Track, tracks
from .oem import oem_text, stretch_words
from .opm import opm_text
from .orbit_message import no_message, setting_of

CSV_HEADER = "time_s,at_utc,x_km,y_km,z_km,vx_km_s,vy_km_s,vz_km_s,stretch"


class Written(NamedTuple):
    """What was written: the paths, and in a sentence what they are."""

    paths: list[Path]
    words: str


def write_flights(
    outcome: Outcome,
    directory: str | Path,
    rank: int | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Written:
    """Write the flight of every craft and carrier of a plan.

    Around a built-in body, with an epoch: an OEM each, and an OPM for each craft. Without either, which the standard
    cannot say: a CSV file each.

    Args:
        directory: made where it is missing; files of other names in it are left alone.

    Raises:
        InputError: the directory cannot be written to, or there is no plan of that rank.
        FlightError: a flight cannot be flown.
    """
    place, plan = Path(directory), plan_of_rank(outcome, rank)
    found = tracks(outcome, plan, progress)
    why = no_message(outcome.scenario)
    last = max((float(one.stretches[-1].times_s[-1]) for one in found if one.stretches), default=0.0)
    setting = None if why else setting_of(outcome.scenario, last)
    paths: list[Path] = []
    with whole_directory(place) as passing:
        for number, track in enumerate(found, start=1):
            stem = file_stem(number, track.name)
            if setting is None:
                paths.append(write_text(passing / f"{stem}.csv", flight_csv(outcome.scenario, track)))
                continue
            paths.append(write_text(passing / f"{stem}.oem", oem_text(outcome, plan, track, setting)))
            if track.part is not None:
                paths.append(write_text(passing / f"{stem}.opm", opm_text(outcome, plan, track, setting)))
    if setting is None:
        words = f"The flights are in {directory} as CSV, not as CCSDS messages: {why}."
    else:
        words = (
            f"The flights are in {directory} as CCSDS messages, {setting.frame} and {setting.system}: an OEM for each "
            f"craft{' and carrier' if plan.carriers else ''}, an OPM with its burns."
        )
    return Written([place / path.name for path in paths], words)


def flight_csv(scenario: Scenario, track: Track) -> str:
    """A flight as a table: seconds from the epoch, positions and velocities in the frame of the scenario.

    Lines of one stretch may be interpolated, with the velocities, by a polynomial of degree 7 through four of them;
    never across a burn. The name of the craft is that of the file.
    """
    count = len(track.flight.itinerary.impulses)
    epoch = None if scenario.epoch is None else scenario.epoch.astimezone(UTC)
    lines = [CSV_HEADER]
    for stretch in track.stretches:
        words = csv_cell(printable(stretch_words(stretch, count).rstrip("."))).replace(",", ";")
        for time_s, state in zip(stretch.times_s.tolist(), (stretch.states * 1e-3).tolist(), strict=True):
            at = "" if epoch is None else instant(epoch, time_s, 6).removesuffix(" UTC")
            numbers = [f"{x:.9f}" for x in state[:3]] + [f"{v:.12f}" for v in state[3:]]
            lines.append(",".join([f"{time_s:.6f}", at, *numbers, words]))
    return "\n".join([*lines, ""])
