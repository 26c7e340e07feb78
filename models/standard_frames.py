"""The base frame of a scenario against the frames that standards name, as matrices.

The base frame stands still as it is at the epoch: for the Earth z is the celestial intermediate pole and x the
celestial intermediate origin of that moment (IAU 2006/2000A, by ERFA), for other bodies z is the pole and x the node
of the equator on that of the ICRF (IAU WGCCRE); see ``flight/ephemeris.base_axes``. All frames here have their origin
in the center of the body and do not turn.

The frames known by name, each for its own moment where it depends on one:

- ``GCRF``, ``ICRF``: the axes of the ICRF;
- ``EME2000`` (``J2000``): mean equator and equinox of J2000.0, the frame bias away from the ICRF (IERS Conventions
  2010, section 5.4.4);
- ``TOD``, ``MOD``: true, or mean, equator and equinox of date (IAU 2006/2000A), the Earth's;
- ``TEME``: true equator, mean equinox of date, in which element sets are (Vallado and others 2006, AIAA 2006-6753). Its
  x axis is taken at Greenwich mean sidereal time less the Earth's rotation angle from the intermediate origin (IERS
  Conventions 2010, equation 5.32).
"""

from __future__ import annotations

import math

import numpy as np

from .arrays import Array
from .flight.ephemeris import J2000_JD

EARTH_FRAMES = ("GCRF", "ICRF", "EME2000", "J2000", "TOD", "MOD", "TEME")
"""Frames around the Earth that can be read."""

FRAMES = ("ICRF", "EME2000", "J2000")
"""Those around other bodies: their axes have nothing to do with the body."""


def standard_frame(body: str) -> str:
    """Name of the frame with the axes of the ICRF around a body.

    >>> standard_frame("Earth"), standard_frame("mars")
    ('GCRF', 'ICRF')
    """
    return "GCRF" if body.lower() == "earth" else "ICRF"


def axes_on_icrf(frame: str, terrestrial_d: float) -> Array:
    """Rows x, y, z of a frame on the ICRF, (3, 3): the matrix that turns vectors of the ICRF into it.

    Args:
        frame: one of :data:`EARTH_FRAMES`.
        terrestrial_d: days of terrestrial time from J2000.0, the moment of a frame of date.

    >>> axes_on_icrf("GCRF", 0.0).tolist()
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    import erfa

    if frame in ("GCRF", "ICRF"):
        return np.eye(3)
    if frame in ("EME2000", "J2000"):
        return np.asarray(erfa.bp06(J2000_JD, 0.0)[0])
    if frame == "TOD":
        return np.asarray(erfa.pnm06a(J2000_JD, terrestrial_d))
    if frame == "MOD":
        return np.asarray(erfa.pmat06(J2000_JD, terrestrial_d))
    if frame == "TEME":
        turn = sidereal_less_rotation(terrestrial_d)
        cos, sin = math.cos(turn), math.sin(turn)
        from_origin = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
        return np.asarray(from_origin @ erfa.c2i06a(J2000_JD, terrestrial_d))
    raise ValueError(f"{frame} is no frame known here")


def sidereal_less_rotation(terrestrial_d: float) -> float:
    """Greenwich mean sidereal time less the Earth's rotation angle, rad (IERS Conventions 2010, equation 5.32).

    >>> round(math.degrees(sidereal_less_rotation(36525.0)), 4)
    1.2815
    """
    t = terrestrial_d / 36_525.0
    arcseconds = 0.014506 + 4612.156534 * t + 1.3915817 * t * t
    return math.radians(arcseconds / 3600.0)
