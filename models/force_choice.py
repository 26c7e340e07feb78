"""Which forces are flown: each is sized against the tolerance of the ring over the time of the plan and, where it was
asked for, the time that the ring is to hold.

Sizes are estimates by order of magnitude (see ``missing_forces.py``); "auto" takes a force where it could move a craft
against the others by more than a tenth of the tolerance in that time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from . import bodies
from .flight.forces import Field, Term
from .flight.point_masses import PointPull
from .flight.sky import field, sky
from .missing_forces import Pull, density_of, drag_shift_rad_s2, light_pull, tide, uneven_pull
from .scenario import Scenario
from .surroundings import Choice, ForceSpec
from .units import YEAR_S

AUTO_SHARE = 0.1
"""Share of the tolerance that a force left out may use up."""


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A force that is not flown: its name, the angle that it could move a craft by in a year, rad, and when it could
    use up the tolerance, s. Both are estimates.
    """

    name: str
    shift_rad_year: float
    spoils_s: float


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """What is flown and what is not.

    Args:
        field: for the flight.
        flown: names, the body's own field first.
        left_out: the others of which anything is known.
        degree: highest degree of the field, 0 for the bulge alone.
        field_ends: whether the highest degree that is known here still matters, so that those beyond may.
    """

    field: Field
    flown: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    degree: int
    field_ends: bool = False


def chosen_forces(scenario: Scenario, plan_s: float = 0.0) -> Chosen:
    """What a scenario's ``[forces]`` come to for a plan that lasts so long."""
    spec, ring = scenario.forces, scenario.ring
    over_s = max(plan_s, ring.hold_for_s if ring.hold_wanted else 0.0)
    body, above = scenario.body, sky(scenario)
    sizes = {key: _size(scenario, key, term) for key, term in above.terms.items()}
    degree = 0 if spec is None else _degree(scenario, spec, over_s)
    flown = ["bulge" if body.j2 != 0.0 else "point mass", *([f"degree {degree}"] if degree else [])]
    terms: list[Term] = []
    left_out = _degrees_left_out(scenario, degree)
    for key, term in above.terms.items():
        choice: Choice = False if spec is None else getattr(spec, key, spec.pulls)
        if choice is True or (choice == "auto" and _matters(scenario, sizes[key], over_s)):
            terms.append(term)
            flown.append(term.name)
        else:
            left_out.append(_left_out(scenario, term.name, [sizes[key]]))
    return Chosen(
        field=field(body, degree, tuple(terms)),
        flown=tuple(flown),
        left_out=tuple(left_out),
        degree=degree,
        field_ends=degree > 0 and _matters(scenario, _uneven(scenario, 0)[-1], over_s),
    )


def _rate(scenario: Scenario) -> float:
    return math.sqrt(scenario.body.gm / scenario.ring.radius_m**3)


def _matters(scenario: Scenario, pull: Pull, over_s: float) -> bool:
    return pull.shift_rad(over_s, _rate(scenario)) > AUTO_SHARE * scenario.ring.tolerance_rad


def _yearly(scenario: Scenario, pull: Pull) -> float:
    return pull.shift_rad(YEAR_S, _rate(scenario))


def _size(scenario: Scenario, key: str, term: Term) -> Pull:
    """What a term could do, as a pull along the track."""
    body, radius_m = scenario.body, scenario.ring.radius_m
    surfaces = [craft.surface for craft in scenario.craft]
    if key == "drag":
        density = scenario.air_factor * density_of(body.air, radius_m - body.radius_m)
        shift = drag_shift_rad_s2(body.gm, radius_m, density, max(one.drag_m2_kg for one in surfaces))
        return Pull(name=term.name, shift_rad_s2=shift)
    if key == "sunlight":
        return light_pull(body.name, radius_m, max(one.light_m2_kg for one in surfaces))
    assert isinstance(term, PointPull)
    own = next((one for one in scenario.pulls if one.name == key), None)
    if own is not None:
        other = bodies.Neighbor(name=own.name, gm=own.gm, distance_m=own.radius_m)
    else:
        other = next(one for one in bodies.neighbors(body.name) if one.name == term.name)
    return tide(body.gm, radius_m, other)


def _uneven(scenario: Scenario, above: int) -> list[Pull]:
    """The degrees of the body's field beyond one, each as a pull."""
    body, ring = scenario.body, scenario.ring
    degrees = sorted({one.degree for one in body.harmonics if one.degree > above})
    return [uneven_pull(body, degree, ring.radius_m, _rate(scenario), ring.inclination_rad) for degree in degrees]


def _degrees_left_out(scenario: Scenario, above: int) -> list[LeftOut]:
    """The degrees of the field that are not flown, as one."""
    pulls = _uneven(scenario, above)
    if not pulls:
        return []
    names = [pull.name for pull in pulls]
    name = names[0] if len(names) == 1 else f"{names[0]} to {names[-1].removeprefix('degree ')}"
    return [_left_out(scenario, name, pulls)]


def _left_out(scenario: Scenario, name: str, pulls: list[Pull]) -> LeftOut:
    """Several forces as one."""
    rate, tolerance = _rate(scenario), scenario.ring.tolerance_rad
    return LeftOut(
        name=name,
        shift_rad_year=math.hypot(*(_yearly(scenario, pull) for pull in pulls)),
        spoils_s=min(pull.spoils_s(rate, tolerance) for pull in pulls),
    )


def _degree(scenario: Scenario, spec: ForceSpec, over_s: float) -> int:
    """The degree asked for; with "auto" the highest that matters."""
    if spec.degree != "auto":
        return spec.degree
    mattering = [
        degree
        for degree, pull in zip(
            sorted({one.degree for one in scenario.body.harmonics}), _uneven(scenario, 0), strict=True
        )
        if _matters(scenario, pull, over_s)
    ]
    return max(mattering, default=0)
