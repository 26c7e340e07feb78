"""Values for programs: numbers rounded far below any meaning, attributes by their names, JSON text."""

from __future__ import annotations

import json
import math
from typing import Any

_PLACES = {"m_s": 6, "s": 6, "km": 6, "deg": 9, "kg": 6, "": 9}


def number(value: float, unit: str = "s") -> float:
    """A number rounded as its unit needs it.

    Raises:
        ValueError: it is not finite (a fault of the planner, never of the input).
    """
    if not math.isfinite(value):
        raise ValueError(f"the outcome holds {value} where a number of {unit or 'no unit'} must stand")
    return round(float(value), _PLACES[unit]) + 0.0  # no minus zero


def finite(value: float | None, places: int) -> float | None:
    """A number rounded, None where there is none or it is not finite."""
    return None if value is None or not math.isfinite(value) else round(float(value), places) + 0.0


def degrees(angle_rad: float) -> float:
    """An angle, rad, in degrees."""
    return number(math.degrees(angle_rad), "deg")


def named(one: object, *names: str, from_m: float = 0.0) -> dict[str, Any]:
    """Attributes by name, None as it is; numbers by :func:`number`, in the unit that the end of the name says.

    Args:
        names: of ``_deg`` the attribute is in rad, of ``_km`` in m.
        from_m: from where lengths in km count.

    >>> named(complex(1.0, 2.0), "real")
    {'real': 1.0}
    """
    return {name: _in_unit(one, name, from_m) for name in names}


def _in_unit(one: object, name: str, from_m: float) -> Any:
    if name.endswith("_deg"):
        value = getattr(one, f"{name[:-4]}_rad")
        return None if value is None else degrees(value)
    if name.endswith("_km"):
        value = getattr(one, f"{name[:-3]}_m")
        return None if value is None else number((value - from_m) * 1e-3, "km")
    value = getattr(one, name)
    return number(value) if value is not None and name.endswith(("_s", "_kg")) else value


def exact(one: object, *names: str) -> dict[str, Any]:
    """Attributes by name, as they are."""
    return {name: getattr(one, name) for name in names}


def json_text(values: object, indent: int = 2) -> str:
    """Strict JSON: the order of the values, a newline at the end, never NaN or Infinity."""
    return json.dumps(values, indent=indent, ensure_ascii=False, allow_nan=False) + "\n"
