"""What was typed after ``period``, read and checked: the question in SI units and radians."""

from __future__ import annotations

import argparse
import math
import re
from dataclasses import dataclass

from ...models.bodies import body as built_in_body
from ...models.errors import InputError
from ...models.frames import wrap
from ...models.keys import find_key
from ...models.orbits import semi_major
from ...models.reading.values import range_words
from ...models.readouts import brief, clock, plain
from ...models.scenario import Body, on_ring
from ...optimizer.period import Question, shortest_period_s
from ..typed import RING, apsides, quantity

MOST_REVOLUTIONS = 200
"""More than anybody waits for; each doubling makes four times as many options."""

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
    off_ring_m: float
    floor_typed: bool
    tolerance_rad: float
    got_s: float | None
    every: bool


def read(arguments: argparse.Namespace) -> Asked:
    """Read the options. Raises InputError for the first that cannot be used."""
    body, built_in = _body(arguments)
    ring_period_s, ring_m = _ring(arguments, body)
    floor_m = _floor(arguments, body, ring_m)
    ceiling_m = _ceiling(arguments, body, ring_m)
    low_m, high_m = _arrival(arguments, body, ring_m)
    other_m, off_m = ring_m, 0.0
    if not (on_ring(low_m, ring_m) and on_ring(high_m, ring_m)):
        if not on_ring(low_m, ring_m) and not on_ring(high_m, ring_m):
            raise _touches_nowhere(arguments, body, ring_m, low_m == high_m)
        touching, other_m = (low_m, high_m) if on_ring(low_m, ring_m) else (high_m, low_m)
        off_m = touching - ring_m
    question = Question(
        gm=body.gm,
        ring_radius_m=ring_m,
        lead_rad=float(wrap(lead_rad(arguments))),
        other_m=other_m,
        floor_m=floor_m,
        ceiling_m=ceiling_m,
        revolutions_max=revolutions_max(arguments),
        within_s=within_s(arguments),
    )
    own = f"the ring's own is {clock(question.ring.period_s)}, and "
    return asked_of(arguments, question, body, own, built_in=built_in, ring_period_s=ring_period_s, off_ring_m=off_m)


def asked_of(
    arguments: argparse.Namespace,
    question: Question,
    body: Body,
    own: str = "",
    *,
    ring_period_s: float | None,
    built_in: bool = False,
    off_ring_m: float = 0.0,
) -> Asked:
    """The question with what else was typed; ``own`` says the ring's period. Raises InputError."""
    got_s = None if arguments.got is None else positive(arguments.got, "time", "--got")
    least_s = shortest_period_s(question)
    if got_s is not None and got_s <= least_s * (1.0 + 1e-9):
        raise InputError(
            f"no orbit that touches the ring has a period of {arguments.got}: {own}even a fall to the center takes "
            f"{clock(least_s)} there and back; give the period read after the burn.",
            where="--got",
        )
    return Asked(
        question=question,
        body=body,
        built_in=built_in,
        ring_period_s=ring_period_s,
        off_ring_m=off_ring_m,
        floor_typed=arguments.floor is not None,
        tolerance_rad=tolerance_rad(arguments),
        got_s=got_s,
        every=arguments.every,
    )


def _body(arguments: argparse.Namespace) -> tuple[Body, bool]:
    own = [name for name, value in (("--gm", arguments.gm), ("--radius", arguments.radius)) if value is not None]
    if arguments.around is not None:
        if own:
            raise InputError(
                f"--around {arguments.around} and {' and '.join(own)} both say what the ring goes round: "
                "give --around, or --gm and --radius.",
                where=own[0],
            )
        try:
            return built_in_body(arguments.around), True
        except InputError as fault:
            raise InputError(fault.problem, where="--around") from None
    if not own:
        raise InputError(
            "nothing says what the ring goes round: add --around earth, or --gm 398600km3/s2 --radius 6378km.",
            where="--around",
        )
    if len(own) < 2:
        lacking = "--radius 6378km" if own == ["--gm"] else "--gm 398600km3/s2"
        raise InputError(f"{own[0]} needs {lacking.split()[0]} beside it: add {lacking}, for example.", where=own[0])
    gm = _as_in_a_file(arguments.gm, "gm_km3_s2", "--gm")
    radius_m = _as_in_a_file(arguments.radius, "radius_km", "--radius")
    return Body(name=OWN_WORLD, gm=gm, radius_m=radius_m, source="the command line"), False


def _as_in_a_file(typed: str, spelled: str, option: str) -> float:
    """A quantity of the body within the range that it has in a scenario, SI units. Raises InputError."""
    found = find_key("body", spelled)
    assert found is not None
    key, unit = found
    value = positive(typed, key.kind, option)
    if not key.least <= value <= key.most:
        raise InputError(f"{typed} {range_words(key, unit, value)}", where=option)
    return value


def _ring(arguments: argparse.Namespace, body: Body) -> tuple[float | None, float]:
    """The ring's period where that was given, and its radius."""
    if arguments.ring is not None and arguments.ring_period is not None:
        raise InputError("the ring has an altitude and a period: give --ring or --ring-period.", where="--ring-period")
    if arguments.ring is None and arguments.ring_period is None:
        raise InputError("the ring has no size: add --ring 10000km, or --ring-period 5:47:39.7.", where="--ring")
    period_s = None
    if arguments.ring_period is not None:
        option, typed = "--ring-period", arguments.ring_period
        period_s = positive(typed, "time", option)
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
    altitude = f"{brief((ring_m - body.radius_m) / 1e3)} km"
    lacks = "is a circle that is not the ring" if circle else "has no apsis on the ring"
    return InputError(
        f"{arguments.arrival} {lacks}, which is at {altitude}: the craft comes to the ring at an apsis, to 1 km or a "
        f"ten-thousandth of the ring's radius; write the word {RING} for it, as in 190kmx{RING} or {RING}x14000km.",
        where="--from",
    )


def lead_rad(arguments: argparse.Namespace) -> float:
    """How far the slot is ahead, behind negative. Raises InputError."""
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


def within_s(arguments: argparse.Namespace) -> float:
    """What ``--within`` says, infinite without it. Raises InputError."""
    return math.inf if arguments.within is None else positive(arguments.within, "time", "--within")


def revolutions_max(arguments: argparse.Namespace) -> int:
    """What ``--revolutions`` says. Raises InputError."""
    typed = str(arguments.revolutions).strip()
    if not re.fullmatch(r"\d{1,4}", typed) or int(typed) > MOST_REVOLUTIONS:
        raise InputError(
            f"{typed!r} is no number of revolutions: write a whole number, 0 to {MOST_REVOLUTIONS}.",
            where="--revolutions",
        )
    return int(typed)


def tolerance_rad(arguments: argparse.Namespace) -> float:
    """What ``--tolerance`` says. Raises InputError."""
    tolerance = positive(arguments.tolerance, "angle", "--tolerance")
    if tolerance > math.pi:
        raise InputError(f"{arguments.tolerance} is more than half a turn: write less.", where="--tolerance")
    return tolerance


def positive(typed: str, kind: str, option: str) -> float:
    """A quantity above 0, SI units. Raises InputError."""
    value = quantity(typed, kind, option)
    if value <= 0.0:
        raise InputError(f"{typed} is not above zero: write a positive value.", where=option)
    return value
