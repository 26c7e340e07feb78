"""From the tables of forces to values: an uneven field, air, bodies that pull, and which forces are flown."""

from __future__ import annotations

from dataclasses import replace

from .. import bodies
from ..keys import number_by_default
from ..scenario import Body, Scenario
from ..surroundings import AirLayer, ForceSpec, Harmonic, Puller
from .document import Table

FIELD_AND_AIR = ("c22", "s22", "j3", "j4", "atmosphere")
"""Keys of the body that say nothing where they are absent."""

_CHOICES = ("degree", "sun", "moon", "parent", "drag", "sunlight")
"""Keys of ``[forces]`` that choose a force."""

_OWN_HARMONICS = {"j3": (3, 0), "j4": (4, 0)}


def with_field_and_air(table: Table, body: Body) -> Body:
    """The body with the harmonics and the air that its table gives, in place of the published ones."""
    found = {(one.degree, one.order): one for one in body.harmonics}
    if "c22" in table or "s22" in table:
        found[2, 2] = Harmonic(degree=2, order=2, cosine=table.number_or("c22", 0.0), sine=table.number_or("s22", 0.0))
    for name, (degree, order) in _OWN_HARMONICS.items():
        if name in table:
            found[degree, order] = Harmonic(degree=degree, order=order, cosine=-table.number_or(name, 0.0))
    layers = table.tables.get("atmosphere", ())
    air = tuple(AirLayer(**layer.given(AirLayer)) for layer in layers)
    for below, layer, above in zip(air, layers[1:], air[1:], strict=False):
        if above.altitude_m <= below.altitude_m:
            raise layer.refused("altitude", "is no higher than the layer before it: put them in rising order.")
    return replace(
        body,
        harmonics=tuple(one for _, one in sorted(found.items()) if one.cosine != 0.0 or one.sine != 0.0),
        air=air or body.air,
    )


def puller(table: Table) -> Puller:
    """A body that pulls in a world of one's own."""
    orbit = table.tables["orbit"][0]
    orbit.note_defaults()
    return Puller(**table.given(Puller), **orbit.given(Puller))


def air_factor(table: Table | None) -> float:
    """What the densities of the air are multiplied by, whether drag is flown or not."""
    default = number_by_default("forces", "density_factor")
    return default if table is None else table.number_or("density_factor", default)


def force_spec(table: Table | None) -> ForceSpec | None:
    """Which forces are flown; None for the bulge alone. Without a table each is where it matters."""
    if table is None:
        return ForceSpec()
    table.note_defaults()
    given = table.given(ForceSpec)
    if table.flag("further"):
        return ForceSpec(**given)
    named = {key: value for key, value in given.items() if key in _CHOICES}
    if not any(named.values()):
        return None
    return ForceSpec(**{**dict.fromkeys(_CHOICES, False), "pulls": False, "degree": 0, **given})


def check_forces(scenario: Scenario, root: Table) -> None:
    """Raise InputError for a force that is asked for and cannot be flown here, or a puller where none may be."""
    known = scenario.body.name.lower() in bodies.body_names()
    for table in root.tables.get("pull", ()):
        if known:
            raise table.error(
                f"{table.quote('name')}: what pulls at orbits around {scenario.body.name} is built in; [[pull]] is for "
                "a world of your own."
            )
        orbit = table.tables["orbit"][0]
        if orbit.number_or("radius", 0.0) <= scenario.ring.radius_m:
            raise orbit.refused("radius", "is inside the ring: give a body outside it.")
    asked = root.table("forces")
    if scenario.forces is None or asked is None:
        return
    from ..flight.sky import sky

    above = sky(scenario)
    for name in _CHOICES[1:]:
        if getattr(scenario.forces, name) is True and name not in above.terms:
            raise asked.refused(name, f'cannot be flown: {above.unknown[name]}; write false or "auto".')
    degree = scenario.forces.degree
    highest = max((one.degree for one in scenario.body.harmonics), default=0)
    if degree != "auto" and degree > highest:
        limit = f"up to degree {highest}" if highest else "the bulge alone, degree = 0"
        raise asked.refused("degree", f': of {scenario.body.name} {limit} is known here; write that, or "auto".')
