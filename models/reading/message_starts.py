"""Craft that start where an orbit message says they are: the keys ``opm``, ``oem`` and ``state_at`` of a craft.

Plans know orbits in the planes of the ring. What that makes of a state, the scenario's warnings say.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from ..printable import shortened
from ..readouts import brief, instant, plain, span
from ..scenario import Body, Craft, Orbit, RingSpec
from .document import Table

if TYPE_CHECKING:
    from datetime import datetime

    from .message_states import GivenState

MOST_TILT_RAD = math.radians(0.1)
"""A start may be tilted so much against the plane of the ring, or by what the ring itself allows, if that is more."""

UNSAID_M, UNSAID_M_S = 100.0, 0.1
"""So much may the start of a plan be off the state given without a word."""

OLD_S = 86_400.0
"""A state farther than this from the epoch is said to be."""

MASS_SHARE = 0.005
"""Masses of message and scenario that differ by no more than this share are the same."""


def with_messages(
    craft: tuple[Craft, ...], root: Table, body: Body, ring: RingSpec
) -> tuple[tuple[Craft, ...], tuple[str, ...]]:
    """Craft with the orbits that messages give them, and what has to be said about these.

    Raises:
        InputError: a message that cannot be used.
    """
    found, remarks = [], list[str]()
    for one, table in zip(craft, root.tables["craft"], strict=True):
        kind = _kind(table)
        if kind is None:
            found.append(one)
            continue
        started, said = _started(one, table, kind, body, ring)
        found.append(started)
        remarks += said
    return tuple(found), tuple(remarks)


def _kind(table: Table) -> Literal["opm", "oem"] | None:
    """Which message a craft's table names."""
    if "state_at" in table and "oem" not in table:
        why = "the state of an OPM has its own moment" if "opm" in table else "there is no ephemeris to look it up in"
        raise table.refused("state_at", f", but {why}: take it out, or give oem.")
    if "opm" in table:
        return "opm"
    return "oem" if "oem" in table else None


def _started(
    craft: Craft, table: Table, kind: Literal["opm", "oem"], body: Body, spec: RingSpec
) -> tuple[Craft, list[str]]:
    # need NumPy, which a file without messages is read without
    import numpy as np

    from ..orbit_of_state import start_of_state
    from ..ring_as_given import ring_as_given
    from .message_states import given_state

    epoch = table.origin.epoch
    given = given_state(table, kind, body, epoch, table.number("state_at"))
    distance = float(np.linalg.norm(given.position))
    if distance < body.radius_m:
        raise table.refused(
            kind,
            f"has {craft.name} {brief(distance / 1e3)} km from the center, under the ground, which is at "
            f"{brief(body.radius_m / 1e3)} km: a state in space would be accepted.",
        )
    try:
        start = start_of_state(body, ring_as_given(body, spec), given.position, given.velocity, given.time_s)
    except ValueError as fault:
        raise table.refused(kind, f"cannot be a start: {fault}.") from None
    most = max(MOST_TILT_RAD, spec.tilt_tolerance_rad)
    if start.tilt_rad > most:
        raise table.refused(
            kind,
            f"has {craft.name} on an orbit tilted {brief(math.degrees(start.tilt_rad), 3)} deg against the nearest "
            f"plane of the ring: starts in a plane of the ring, to {brief(math.degrees(most))} deg, are planned; check "
            "ring.inclination_deg and ring.node_deg, which count from the scenario's axes.",
        )
    table.note_default("orbit", _taken(start.orbit, table.text(kind) or "", start.off_m, body))
    said = _remarks(craft, given, epoch)
    if start.off_m > UNSAID_M or start.off_m_s > UNSAID_M_S:
        said.append(
            f"Craft {craft.name} is planned from {plain(start.off_m / 1e3, 2)} km and {plain(start.off_m_s, 2)} m/s "
            f"beside the state of its message at {instant(epoch, given.time_s)}: plans know orbits in the plane of the "
            f"ring, {plain(math.degrees(start.tilt_rad), 3)} deg from its own, that are laid on the ring where they "
            "touch it."
        )
    return replace(craft, orbit=start.orbit), said


def _remarks(craft: Craft, given: GivenState, epoch: datetime | None) -> list[str]:
    """What of a message is not planned with."""
    said = []
    if given.maneuvers:
        blocks = "maneuver block is" if given.maneuvers == 1 else "maneuver blocks are"
        said.append(
            f"Craft {craft.name} starts from an OPM whose {given.maneuvers} {blocks} left out: what it is to burn is "
            "planned here."
        )
    if abs(given.time_s) > OLD_S:
        said.append(
            f"Craft {craft.name} starts from a state at {instant(epoch, given.time_s)}, {span(abs(given.time_s))} from "
            "the epoch: between the two it is taken to fly under the pull of the body and its bulge alone."
        )
    own = None if craft.dry_mass_kg is None else craft.dry_mass_kg + (craft.propellant_kg or 0.0)
    if given.mass_kg is not None and own is not None and abs(given.mass_kg - own) > MASS_SHARE * own:
        said.append(
            f"Craft {craft.name} has {plain(given.mass_kg, 2)} kg by its message and {plain(own, 2)} kg by the "
            "scenario, which is planned with."
        )
    return said


def _taken(orbit: Orbit, file: str, off_m: float, body: Body) -> str:
    """The orbit that was taken from a message, in words."""
    low, high = (brief((apsis - body.radius_m) / 1e3) for apsis in (orbit.periapsis_m, orbit.apoapsis_m))
    shape = f"a circle at {low} km" if orbit.circular else f"{low} to {high} km"
    return f"{shape} from {shortened(file, 40)}, {plain(off_m / 1e3, 2)} km beside its state"
