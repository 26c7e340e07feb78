"""Options that several commands share."""

from __future__ import annotations

import argparse

from ..emphasis import CHOICES
from .option_types import file_place, folder_place, rank


def add_color(parser: argparse.ArgumentParser) -> None:
    """How an answer is marked on a terminal."""
    parser.add_argument(
        "--color",
        choices=CHOICES,
        default="auto",
        help="bold headings and colored warnings; default: auto, on a terminal unless NO_COLOR is set",
    )


def add_scenario(parser: argparse.ArgumentParser) -> None:
    """The scenario, and keys of it given on the command line."""
    parser.add_argument("scenario", metavar="SCENARIO", help="a scenario file (TOML)")
    add_settings(parser)


def add_settings(parser: argparse.ArgumentParser) -> None:
    """Keys given on the command line."""
    parser.add_argument(
        "--set",
        dest="settings",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="override one key, as in --set ring.altitude_km=9000; may be repeated",
    )


def add_rank(parser: argparse.ArgumentParser) -> None:
    """Which of the listed plans."""
    parser.add_argument("--plan", type=rank, metavar="RANK", help="the plan of that rank; default: 1, the best")


def add_json(parser: argparse.ArgumentParser, what: str) -> None:
    """Where the answer goes as JSON."""
    parser.add_argument("--json", type=file_place, metavar="PATH", help=f"write {what} as JSON; - for standard output")


def add_out(parser: argparse.ArgumentParser, what: str) -> None:
    """Where its files go."""
    parser.add_argument("--out", type=folder_place, metavar="DIR", help=what)
