"""Gravity fields of the built-in bodies beyond their bulge: C22 and S22, and harmonics of degree 3 and more.

The coefficients stand in ``bodies.toml`` and ``fields.toml`` as their sources print them; they are given out
unnormalized and for the reference radius that is asked for.
"""

from __future__ import annotations

import math
import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from .surroundings import Harmonic


def harmonics(name: str, sectoral: tuple[float, float], reference_m: float) -> tuple[Harmonic, ...]:
    """All harmonics of a built-in body beyond J2 that are known here, unnormalized, for a reference radius.

    Args:
        name: built-in body, in any case.
        sectoral: its C22 and S22, already for that radius.
        reference_m: radius that the coefficients shall belong to.
    """
    row = _fields().get(name.lower(), {})
    found = [Harmonic(degree=2, order=2, cosine=sectoral[0], sine=sectoral[1])] if any(sectoral) else []
    for n, m, c, s in row.get("normalized", ()):
        factor = _scale(row, reference_m, n) * unnormalized(n, m)
        found.append(Harmonic(degree=n, order=m, cosine=c * factor, sine=s * factor))
    for n, j in row.get("zonal", ()):
        found.append(Harmonic(degree=n, order=0, cosine=-j * _scale(row, reference_m, n)))
    return tuple(found)


def unnormalized(degree: int, order: int) -> float:
    """Factor from a fully normalized coefficient to the plain one (Vallado 2013, equation 8-22).

    >>> round(unnormalized(2, 0) ** 2, 12), round(unnormalized(2, 2) ** 2 * 12, 12)
    (5.0, 5.0)
    """
    twice = 1.0 if order == 0 else 2.0
    return math.sqrt(twice * (2 * degree + 1) * math.factorial(degree - order) / math.factorial(degree + order))


def _scale(row: dict[str, Any], reference_m: float, degree: int) -> float:
    return float((row["radius_km"] * 1e3 / reference_m) ** degree)


@cache
def _fields() -> dict[str, Any]:
    return tomllib.loads(files(__package__).joinpath("fields.toml").read_text(encoding="utf-8"))
