"""The command ``period``: the one-craft question asked without a file.

Reads the options, hands the question on, and turns it into a scenario file where that is wanted. What is printed is
set in ``period_text.py``. Nothing heavy is imported until the command runs.
"""

from __future__ import annotations

import argparse
import math
import os
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..models.errors import InputError
from .typed import RING, apsides, quantity

if TYPE_CHECKING:
    from ..models.scenario import Body
    from ..optimizer.period import Question

NO_OPTION = 3
"""Exit status where no period fits."""

REVOLUTIONS = 12
TOLERANCE = "0.5deg"
CRAFT = "Rowan"
OWN_WORLD = "World of this question"

SYNCHRONOUS_SHARE = 0.005
"""An altitude this near, as a share, to the synchronous radius was read off as a radius."""


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What was asked, in SI units and radians.

    Args:
        question: for the optimizer.
        body: built in, or a world with nothing but ``gm`` and ``radius_m``.
        built_in: which of the two.
        ring_period_s: the ring's period as given; None where the altitude was.
        arrival_typed: the orbit as typed; empty for a craft on the ring.
        off_ring_m: how far the touching apsis as typed is from the ring, taken as on it.
        floor_typed: whether the floor was given.
        tolerance_rad: slot error that still counts as in place.
        got_s: the period reached, if any.
        every: whether every option is to be listed.
    """

    question: Question
    body: Body
    built_in: bool
    ring_period_s: float | None
    arrival_typed: str
    off_ring_m: float
    floor_typed: bool
    tolerance_rad: float
    got_s: float | None
    every: bool


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command to a parser; their values stay text until `run` reads them."""
    parser.description = (
        "Which period to hit at the ring so that whole revolutions end at a slot. Every value carries its unit: km, m, "
        "deg, rad, s, min, h, d; a time may also be h:mm:ss. The slot counts as ahead or behind at the moment the "
        "craft is at the ring and burns."
    )
    parser.epilog = (
        "example: ringwright period --around earth --ring 10000km --slot-ahead 86deg --from 190x10000km "
        "--floor 140km --within 3d"
    )
    # -400x10000km is a value, not an option: read whatever begins like a negative number so, as Python 3.14 does
    parser._negative_number_matcher = re.compile(r"-\.?\d")

    where = parser.add_argument_group("where")
    where.add_argument("--around", metavar="BODY", help="built-in planet or moon")
    where.add_argument("--gm", metavar="GM", help="gravitational parameter, instead of --around: 398600km3/s2")
    where.add_argument("--radius", metavar="LENGTH", help="equatorial radius, with --gm")
    where.add_argument("--ring", metavar="ALTITUDE", help="altitude of the ring")
    where.add_argument("--ring-period", metavar="TIME", help="the ring's period, instead of --ring")

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
        "--got", metavar="TIME", help="the period that was reached: what it makes of the slot, and where next"
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

    Args:
        arguments: from a parser with `add_arguments`.
        width: greatest length of a line, at least 60.

    Returns:
        Exit status (0, or 3 where no period fits) and the text, which ends in a newline.

    Raises:
        InputError: an option that cannot be used, or a file that exists already.
    """
    from ..optimizer.period import fitting
    from .period_text import nothing_text, period_text

    asked = read(arguments)
    rows = fitting(asked.question)
    saved = save(asked, arguments.save) if arguments.save is not None else ""
    if not len(rows):
        return NO_OPTION, nothing_text(asked, width, saved=saved)
    return 0, period_text(asked, rows, width, saved=saved)


def read(arguments: argparse.Namespace) -> Asked:
    """Read the options. Raises InputError for the first that cannot be used."""
    from ..models.orbits import period, wrap
    from ..models.scenario import RingSpec
    from ..models.scope import on_ring
    from ..optimizer.period import Question, shortest_period_s

    body, built_in = _body(arguments)
    ring_period_s, ring_m = _ring(arguments, body)
    floor_m = _floor(arguments, body, ring_m)
    ceiling_m = _ceiling(arguments, body, ring_m)
    low_m, high_m = _arrival(arguments, body, ring_m)
    other_m, off_m = ring_m, 0.0
    spec = RingSpec(radius_m=ring_m, slots=1)
    if not (on_ring(low_m, spec) and on_ring(high_m, spec)):
        if not on_ring(low_m, spec) and not on_ring(high_m, spec):
            raise _touches_nowhere(arguments, body, ring_m, low_m == high_m)
        touching, other_m = (low_m, high_m) if on_ring(low_m, spec) else (high_m, low_m)
        off_m = touching - ring_m
    question = Question(
        gm=body.gm,
        ring_radius_m=ring_m,
        lead_rad=float(wrap(_lead(arguments))),
        other_m=other_m,
        floor_m=floor_m,
        ceiling_m=ceiling_m,
        revolutions_max=_revolutions(arguments),
        within_s=_positive(arguments.within, "time", "--within") if arguments.within is not None else math.inf,
    )
    got_s = _positive(arguments.got, "time", "--got") if arguments.got is not None else None
    if got_s is not None and got_s <= shortest_period_s(question) * (1.0 + 1e-9):
        from ..models.readouts import clock

        own, least = clock(float(period(body.gm, ring_m))), clock(shortest_period_s(question))
        raise InputError(
            f"no orbit that touches the ring has a period of {arguments.got}: the ring's own is {own}, and even a fall "
            f"to the center takes {least} there and back; give the period read after the burn.",
            where="--got",
        )
    return Asked(
        question=question,
        body=body,
        built_in=built_in,
        ring_period_s=ring_period_s,
        arrival_typed="" if other_m == ring_m else arguments.arrival,
        off_ring_m=off_m,
        floor_typed=arguments.floor is not None,
        tolerance_rad=_tolerance(arguments),
        got_s=got_s,
        every=arguments.every,
    )


def _body(arguments: argparse.Namespace) -> tuple[Body, bool]:
    from ..models.bodies import body
    from ..models.scenario import Body

    own = [name for name, value in (("--gm", arguments.gm), ("--radius", arguments.radius)) if value is not None]
    if arguments.around is not None:
        if own:
            raise InputError(
                f"--around {arguments.around} and {' and '.join(own)} both say what the ring goes round: "
                "give --around, or --gm and --radius.",
                where=own[0],
            )
        return body(arguments.around), True
    if not own:
        raise InputError(
            "nothing says what the ring goes round: add --around earth, or --gm 398600km3/s2 --radius 6378km.",
            where="--around",
        )
    if len(own) < 2:
        lacking = "--radius 6378km" if own == ["--gm"] else "--gm 398600km3/s2"
        raise InputError(f"{own[0]} needs {lacking.split()[0]} beside it: add {lacking}, or the like.", where=own[0])
    gm, radius_m = _positive(arguments.gm, "gm", "--gm"), _positive(arguments.radius, "length", "--radius")
    return Body(name=OWN_WORLD, gm=gm, radius_m=radius_m, source="the command line"), False


def _ring(arguments: argparse.Namespace, body: Body) -> tuple[float | None, float]:
    """The ring's period where that was given, and its radius."""
    from ..models.orbits import semi_major
    from ..models.readouts import brief, plain

    if arguments.ring is not None and arguments.ring_period is not None:
        raise InputError("the ring has an altitude and a period: give --ring or --ring-period.", where="--ring-period")
    if arguments.ring is None and arguments.ring_period is None:
        raise InputError("the ring has no size: add --ring 10000km, or --ring-period 5:47:39.7.", where="--ring")
    period_s = None
    if arguments.ring_period is not None:
        option, typed = "--ring-period", arguments.ring_period
        period_s = _positive(typed, "time", option)
        radius_m = float(semi_major(body.gm, period_s))
    else:
        option, typed = "--ring", arguments.ring
        altitude_m = quantity(typed, "length", option)
        radius_m = body.radius_m + altitude_m
        _refuse_radius(typed, altitude_m, body)
    if not math.isfinite(radius_m):
        raise InputError(f"{typed} is too large: write a finite ring.", where=option)
    top_m = body.radius_m + body.atmosphere_top_m
    if radius_m <= top_m:
        inside = "inside the body" if radius_m <= body.radius_m else "inside the atmosphere"
        raise InputError(
            f"{typed} puts the ring {plain(radius_m / 1e3)} km from the center of {body.name}, {inside}: more than "
            f"{plain(top_m / 1e3)} km, an altitude of {brief(body.atmosphere_top_m / 1e3)} km, would be accepted.",
            where=option,
        )
    return period_s, radius_m


def _refuse_radius(typed: str, altitude_m: float, body: Body) -> None:
    """Refuse an altitude that is the body's synchronous radius: it was read off as a distance from the center."""
    from ..models.readouts import brief, plain

    if math.isinf(body.sidereal_day_s):
        return
    synchronous_m = (body.gm / body.spin_rad_s**2) ** (1.0 / 3.0)
    if abs(altitude_m - synchronous_m) <= SYNCHRONOUS_SHARE * synchronous_m:
        raise InputError(
            f"{typed} is taken as an altitude, which puts the ring {plain((body.radius_m + altitude_m) / 1e3, 0)} km "
            f"from the center, but it is the radius at which a craft keeps pace with {body.name}: for that ring write "
            f"--ring {brief((altitude_m - body.radius_m) / 1e3).replace(' ', '')}km; if the altitude is meant, give "
            "--ring-period.",
            where="--ring",
        )


def _floor(arguments: argparse.Namespace, body: Body, ring_m: float) -> float:
    from ..models.readouts import brief

    top_m = body.radius_m + body.atmosphere_top_m
    if arguments.floor is None:
        return top_m
    floor_m = body.radius_m + quantity(arguments.floor, "length", "--floor")
    if floor_m < top_m:
        what = f"in the atmosphere of {body.name}" if floor_m >= body.radius_m else "below the surface"
        raise InputError(
            f"{arguments.floor} is {what}: {brief(body.atmosphere_top_m / 1e3)} km or more would be accepted.",
            where="--floor",
        )
    if floor_m > ring_m:
        raise InputError(
            f"{arguments.floor} is above the ring at {brief((ring_m - body.radius_m) / 1e3)} km: at most that would be "
            "accepted.",
            where="--floor",
        )
    return floor_m


def _ceiling(arguments: argparse.Namespace, body: Body, ring_m: float) -> float:
    from ..models.readouts import brief

    if arguments.ceiling is None:
        return math.inf
    ceiling_m = body.radius_m + quantity(arguments.ceiling, "length", "--ceiling")
    if ceiling_m < ring_m:
        raise InputError(
            f"{arguments.ceiling} is below the ring at {brief((ring_m - body.radius_m) / 1e3)} km: at least that would "
            "be accepted.",
            where="--ceiling",
        )
    return ceiling_m


def _arrival(arguments: argparse.Namespace, body: Body, ring_m: float) -> tuple[float, float]:
    """Radii of the arrival orbit's apsides, the lower first."""
    from ..models.readouts import brief

    if arguments.arrival is None:
        return ring_m, ring_m
    typed = apsides(arguments.arrival, "--from")
    low_m, high_m = sorted(ring_m if one is None else body.radius_m + one for one in typed)
    if low_m <= 0.0:
        raise InputError(
            f"{arguments.arrival} has its periapsis at or below the center: more than "
            f"-{brief(body.radius_m / 1e3).replace(' ', '')}km would be accepted.",
            where="--from",
        )
    return low_m, high_m


def _touches_nowhere(arguments: argparse.Namespace, body: Body, ring_m: float, circle: bool) -> InputError:
    from ..models.readouts import brief

    altitude = f"{brief((ring_m - body.radius_m) / 1e3)} km"
    lacks = "is a circle that is not the ring" if circle else "has no apsis on the ring"
    return InputError(
        f"{arguments.arrival} {lacks}, which is at {altitude}: the craft comes to the ring at an apsis, to 1 km or a "
        f"ten-thousandth of the ring's radius; write the word {RING} for it, as in 190kmx{RING} or {RING}x14000km.",
        where="--from",
    )


def _lead(arguments: argparse.Namespace) -> float:
    ahead, behind = arguments.slot_ahead, arguments.slot_behind
    if ahead is not None and behind is not None:
        raise InputError("the slot is both ahead and behind: give one of the two.", where="--slot-behind")
    if ahead is None and behind is None:
        raise InputError(
            "nothing says where the slot is: add --slot-ahead 86deg, or --slot-behind 40deg.", where="--slot-ahead"
        )
    option, typed = ("--slot-ahead", ahead) if behind is None else ("--slot-behind", behind)
    angle = quantity(typed, "angle", option)
    if not -2.0 * math.pi <= angle <= 2.0 * math.pi:
        raise InputError(f"{typed} is more than a whole turn: write it between -360deg and 360deg.", where=option)
    return angle if behind is None else -angle


def _revolutions(arguments: argparse.Namespace) -> int:
    typed = str(arguments.revolutions).strip()
    if not re.fullmatch(r"\d{1,4}", typed) or int(typed) > 1000:
        raise InputError(
            f"{typed!r} is no number of revolutions: write a whole number, 0 to 1000.", where="--revolutions"
        )
    return int(typed)


def _tolerance(arguments: argparse.Namespace) -> float:
    tolerance = _positive(arguments.tolerance, "angle", "--tolerance")
    if tolerance > math.pi:
        raise InputError(f"{arguments.tolerance} is more than half a turn: write less.", where="--tolerance")
    return tolerance


def _positive(typed: str, kind: str, option: str) -> float:
    value = quantity(typed, kind, option)
    if value <= 0.0:
        raise InputError(f"{typed} is not above zero: write a positive value.", where=option)
    return value


def save(asked: Asked, file: str) -> str:
    """Write the question as a scenario file, whole or not at all; gives the name back.

    Raises:
        InputError: the file exists already or cannot be written.
    """
    from ..models.reading import parse_scenario
    from .files import write_text

    if os.path.lexists(file):
        raise InputError(f"{file} exists already and is left as it is: give another name.", where="--save")
    text = scenario_text(asked)
    # the file must be readable for the very command that it is meant for
    parse_scenario(text, file)
    write_text(file, text)
    return file


def scenario_text(asked: Asked) -> str:
    """The same question as a scenario: one craft, one slot, the slot's lead exact at the touch, which is time 0."""
    from ..models.readouts import brief

    question, body = asked.question, asked.body
    ahead = "ahead of" if question.lead_rad >= 0.0 else "behind"
    lines = [
        "# One craft, one slot: the question of `ringwright period` as a scenario. Time 0 is when the craft is at the",
        "# ring; angles count from where it is then.",
        f'title = "{CRAFT} to a slot {brief(math.degrees(abs(question.lead_rad)))} deg {ahead} it"',
        "",
        "[body]",
        f'name = "{body.name.lower() if asked.built_in else body.name}"',
    ]
    if not asked.built_in:
        lines += [f"gm_km3_s2 = {_number(body.gm / 1e9)}", f"radius_km = {_number(body.radius_m / 1e3)}"]
    size = (
        f"altitude_km = {_km(question.ring_radius_m, body)}"
        if asked.ring_period_s is None
        else f"period_s = {_number(asked.ring_period_s)}"
    )
    lines += [
        "",
        "[ring]",
        size,
        "slots = 1",
        f"slot0_deg = {_number(math.degrees(question.lead_rad))} # ahead of the craft at time 0",
        f"tolerance_deg = {_number(math.degrees(asked.tolerance_rad))}",
        "",
        "[limits]",
        f"clearance_km = {_km(question.floor_m - body.atmosphere_top_m, body)} # above the top of the atmosphere",
        f"revolutions_max = {question.revolutions_max}",
    ]
    if math.isfinite(question.within_s):
        lines.append(f"wait_within_{_time(question.within_s)}")
    if math.isfinite(question.ceiling_m):
        lines.append(f"apoapsis_max_km = {_km(question.ceiling_m, body)}")
    lines += ["", "[[craft]]", f'name = "{CRAFT}"', f"orbit = {{ {_orbit(asked, size)} }}"]
    return "\n".join(lines) + "\n"


def _orbit(asked: Asked, size: str) -> str:
    question, body = asked.question, asked.body
    if question.other_m == question.ring_radius_m:
        return f"{size}, angle_deg = 0.0"
    low_m, high_m = sorted((question.other_m, question.ring_radius_m))
    at = "apoapsis" if question.other_m < question.ring_radius_m else "periapsis"
    return f'periapsis_km = {_km(low_m, body)}, apoapsis_km = {_km(high_m, body)}, angle_deg = 0.0, at = "{at}"'


def _km(radius_m: float, body: Body) -> str:
    return _number((radius_m - body.radius_m) / 1e3)


def _number(value: float) -> str:
    """A number for TOML: to a part in 10^13, without the dust of the conversion."""
    return repr(float(f"{value:.13g}"))


def _time(seconds: float) -> str:
    """Unit, equals sign and number in the largest unit in which the number is short."""
    for unit, size in (("d", 86400.0), ("h", 3600.0), ("min", 60.0)):
        number = _number(seconds / size)
        if seconds >= size and len(number) <= 7:
            return f"{unit} = {number}"
    return f"s = {_number(seconds)}"
