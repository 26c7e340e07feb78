"""Which forces there are around the body of a scenario, ready to be flown, and why others cannot be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from .. import bodies
from ..scenario import Body, Scenario
from .drag import Air
from .ephemeris import Circle, parent_circle, track
from .forces import Field, Term
from .gravity import gravity_around
from .harmonics import UnevenField
from .point_masses import Path, PointPull
from .sunlight import Sunlight

NO_EPOCH = "the scenario has no epoch, so that its place is not known: add epoch = a date-time"
OWN_WORLD = "that is for built-in bodies; in a world of your own give [[pull]]"


@dataclass(frozen=True, kw_only=True)
class Sky:
    """The terms beyond the field of the body itself.

    Args:
        terms: by key of ``[forces]`` ("sun", "moon", "parent", "drag", "sunlight"), and those of ``[[pull]]`` by name.
        unknown: for the other keys, why they cannot be flown.
    """

    terms: Mapping[str, Term]
    unknown: Mapping[str, str]


def sky(scenario: Scenario) -> Sky:
    """What can be flown around the body of a scenario."""
    terms: dict[str, Term] = {}
    unknown: dict[str, str] = {}
    paths = _paths(scenario.body, scenario.epoch, unknown)
    for key, (name, gm, path) in paths.items():
        terms[key] = PointPull(name=name, gm=gm, path=path)
    for one in scenario.pulls:
        terms[one.name] = PointPull(name=one.name, gm=one.gm, path=Circle.of(one))
    if "sun" in paths:
        terms["sunlight"] = Sunlight(sun=paths["sun"][2], radius_m=scenario.body.radius_m)
    else:
        unknown["sunlight"] = unknown["sun"]
    air = Air.of(scenario.body, scenario.air_factor)
    if air is None:
        unknown["drag"] = f"no density of the air of {scenario.body.name} is known here: give body.atmosphere"
    else:
        terms["drag"] = air
    return Sky(terms=terms, unknown=unknown)


def _paths(body: Body, epoch: datetime | None, unknown: dict[str, str]) -> dict[str, tuple[str, float, Path]]:
    """Sun, Moon and parent where they can be placed: name as printed, GM, path; the reasons of the others are noted."""
    found: dict[str, tuple[str, float, Path]] = {}
    name = body.name.lower()
    if name not in bodies.body_names() or epoch is None:
        reason = OWN_WORLD if name not in bodies.body_names() else NO_EPOCH
        unknown.update(dict.fromkeys(("sun", "moon", "parent"), reason))
        return found
    sun = track(name, "sun", epoch)
    if sun is None:
        unknown["sun"] = f"no series for the place of {body.name} is known here"
    else:
        found["sun"] = ("Sun", bodies.gm_of("sun"), sun)
    around = bodies.primary(name)[0]
    moon = track(name, "moon", epoch)
    if moon is None:
        unknown["moon"] = "that is for orbits around the Earth"
    else:
        found["moon"] = ("Moon", bodies.gm_of("moon"), moon)
    parent: Path | None = track(name, around, epoch) if around == "earth" else None
    parent = parent or parent_circle(name, body.prime_meridian_rad, body.spin_rad_s)
    if parent is None:
        unknown["parent"] = f"{body.name} is no moon"
    else:
        found["parent"] = (around.capitalize(), bodies.gm_of(around), parent)
    return found


def field(body: Body, degree: int, terms: tuple[Term, ...]) -> Field:
    """The body's pull with its bulge, its uneven field to a degree (0: none) and further terms."""
    uneven = UnevenField.of(body, degree) if degree else None
    return Field(near=gravity_around(body), terms=((uneven,) if uneven else ()) + terms)
