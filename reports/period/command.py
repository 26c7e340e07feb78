"""The command ``period``: the one-craft question asked without a file.

Its options, and the few lines that answer it: the question is read in ``question.py``, answered by
``optimizer/period.py``, set by ``text.py`` and saved by ``as_scenario.py``. Nothing heavy is imported until
the command runs.
"""

from __future__ import annotations

import argparse
import math
import re

from ...models.keys import count_by_default, number_by_default
from ...models.readouts import brief

NO_OPTION = 3
"""Exit status where no period fits."""

REVOLUTIONS = count_by_default("limits", "revolutions_max")
TOLERANCE = f"{brief(math.degrees(number_by_default('ring', 'tolerance')))}deg"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command to a parser; their values stay text until `run` reads them."""
    parser.description = (
        "Which period to have at cut-off so that whole revolutions end at a slot. Every value carries its unit: km, "
        "m, deg, rad, s, min, h, d; a time may also be h:mm:ss. The slot counts as ahead or behind at the moment the "
        "craft is at the ring and burns."
    )
    # -400x10000km is a value, not an option: read whatever begins like a negative number so, as Python 3.14 does
    parser._negative_number_matcher = re.compile(r"-\.?\d")

    where = parser.add_argument_group("where")
    where.add_argument("--around", metavar="BODY", help="built-in planet or moon")
    where.add_argument("--gm", metavar="GM", help="gravitational parameter, instead of --around: 398600km3/s2")
    where.add_argument("--radius", metavar="LENGTH", help="equatorial radius, with --gm")
    where.add_argument("--ring", metavar="ALTITUDE", help="altitude of the ring")
    where.add_argument(
        "--ring-period",
        metavar="TIME",
        help="the ring's period, instead of --ring; without a body it answers what periods alone can",
    )

    what = parser.add_argument_group("which slot, from where")
    what.add_argument("--slot-ahead", metavar="ANGLE", help="how far the slot is ahead of the craft")
    what.add_argument("--slot-behind", metavar="ANGLE", help="how far it is behind, instead of --slot-ahead")
    what.add_argument(
        "--from",
        dest="arrival",
        metavar="LOWxHIGH",
        help="altitudes of the orbit on which the craft comes to the ring, one of them the ring's (or the word ring): "
        "190x10000km, -400x10000km, ringx14000km; without it the craft is on the ring",
    )

    limits = parser.add_argument_group("limits")
    limits.add_argument(
        "--floor", metavar="ALTITUDE", help="lowest altitude allowed (default: the top of the body's atmosphere)"
    )
    limits.add_argument("--ceiling", metavar="ALTITUDE", help="highest altitude allowed (default: none)")
    limits.add_argument(
        "--revolutions", metavar="N", default=str(REVOLUTIONS), help=f"most revolutions (default: {REVOLUTIONS})"
    )
    limits.add_argument("--within", metavar="TIME", help="longest time until the craft is in the slot (default: none)")

    after = parser.add_argument_group("after the burn, and files")
    after.add_argument(
        "--got", metavar="TIME", help="the period read at cut-off: where it leads, and which one to go to next"
    )
    after.add_argument(
        "--tolerance",
        metavar="ANGLE",
        default=TOLERANCE,
        help=f"error against the slot that still counts as in place (default: {TOLERANCE})",
    )
    after.add_argument("--all", dest="every", action="store_true", help="list every option, also dearer ones")
    after.add_argument("--save", metavar="FILE", help="write the question as a scenario file that does not exist yet")


def run(arguments: argparse.Namespace, width: int) -> tuple[int, str]:
    """Answer the question.

    Returns:
        Exit status (0, or 3 where no period fits) and the text, which ends in a newline.

    Raises:
        InputError: an option that cannot be used, or a file that exists already.
    """
    from ...optimizer.period import fitting
    from .as_scenario import save
    from .periods_alone import alone_text, read_alone, without_body
    from .question import read
    from .text import nothing_text, period_text

    if without_body(arguments):
        asked = read_alone(arguments)
        rows = fitting(asked.question)
        return 0 if len(rows) else NO_OPTION, alone_text(asked, rows, width)
    asked = read(arguments)
    rows = fitting(asked.question)
    saved = save(asked, arguments.save) if arguments.save is not None else ""
    if not len(rows):
        return NO_OPTION, nothing_text(asked, width, saved=saved)
    return 0, period_text(asked, rows, width, saved=saved)


TYPED = (
    ("around", "--around"),
    ("gm", "--gm"),
    ("radius", "--radius"),
    ("ring", "--ring"),
    ("ring_period", "--ring-period"),
    ("slot_ahead", "--slot-ahead"),
    ("slot_behind", "--slot-behind"),
    ("arrival", "--from"),
    ("floor", "--floor"),
    ("ceiling", "--ceiling"),
    ("within", "--within"),
)
"""Options that make the question, without those that have a default."""


def question_again(arguments: argparse.Namespace) -> list[str]:
    """The question as it was typed, in words of a command line, without what was reached or saved."""
    words = ["period"]
    for name, option in TYPED:
        value = getattr(arguments, name)
        words += [] if value is None else [option, value]
    words += [] if str(arguments.revolutions) == str(REVOLUTIONS) else ["--revolutions", str(arguments.revolutions)]
    return words + ([] if arguments.tolerance == TOLERANCE else ["--tolerance", arguments.tolerance])
