"""The built-in bodies as [body] tables that can be copied into a scenario, with the source of each value."""

from __future__ import annotations

from ..models.bodies import body, body_names, body_origins
from ..models.readouts import brief, plain
from ..models.surroundings import AirLayer
from .layout import paragraph

_PREFACE = (
    'Built-in bodies. Naming one is enough: name = "mars". To change a value, write its key beside the name; '
    "to make a world of your own from one, copy its table, and give it another name."
)


def body_list(width: int = 80, only: str | None = None) -> str:
    """List the built-in bodies: one TOML table each, values with their sources in comments.

    Args:
        only: one of them, by its name, upper and lower case alike; all without.

    Returns:
        Text that ends in a newline. Each table is valid by itself; a scenario takes one of them.

    Raises:
        InputError: there is no such body.
    """
    if only is not None:
        return "\n".join(body_table(only, width)) + "\n"
    lines = _comment(_PREFACE, width)
    for name in body_names():
        lines += ["", *body_table(name, width)]
    return "\n".join(lines) + "\n"


def body_table(name: str, width: int = 80) -> list[str]:
    """One built-in body as the lines of a [body] table. Raises InputError for an unknown body.

    >>> body_table("moon")[:3]
    ['[body]', 'name = "Moon"', '# GM: JPL Horizons mass parameters, DE441 and satellite ephemerides']
    """
    one, origins = body(name), body_origins(name)
    turn = "; negative: it turns backwards" if one.sidereal_day_s < 0 else ""
    lines = ["[body]", f'name = "{one.name}"']
    for comment, key, value in (
        (f"GM: {origins.gm}", "gm_km3_s2", one.gm / 1e9),
        (f"equatorial radius: {origins.radius}", "radius_km", one.radius_m / 1e3),
        (f"top of the atmosphere for planning: {origins.atmosphere}", "atmosphere_top_km", one.atmosphere_top_m / 1e3),
        (f"rotation against the stars: {origins.rotation}{turn}", "sidereal_day_h", one.sidereal_day_s / 3600.0),
        (f"J2 and the radius it belongs to: {origins.j2}", "j2", one.j2),
        ("", "j2_radius_km", one.j2_radius_m / 1e3),
    ):
        lines += _comment(comment, width) if comment else []
        lines.append(f"{key} = {_number(value)}")
    if one.air:
        lines += _comment(f"density of the air, layer by layer: {origins.air}", width)
        lines += ["atmosphere = [", *(f"  {_layer(layer)}," for layer in one.air), "]"]
    lines += _comment(
        f"synchronous radius {brief(_synchronous_km(one.gm, one.sidereal_day_s), 6)} km; Hill radius "
        f"{plain(one.hill_radius_m / 1e3, 0)} km ({origins.orbit})",
        width,
    )
    return lines


def _layer(layer: AirLayer) -> str:
    values = {
        "altitude_km": layer.altitude_m / 1e3,
        "density_kg_m3": layer.density_kg_m3,
        "scale_height_km": layer.scale_height_m / 1e3,
    }
    return f"{{{', '.join(f'{key} = {_number(value)}' for key, value in values.items())}}}"


def _comment(text: str, width: int) -> list[str]:
    return paragraph(text, width, indent="# ", hang="#   ")


def _number(value: float) -> str:
    """A float as TOML, without the noise of its last bits."""
    text = f"{value:.15g}"
    return text if "." in text or "e" in text else f"{text}.0"


def _synchronous_km(gm: float, day_s: float) -> float:
    """Radius of the orbit that keeps pace with the body, (GM (T / 2 pi)^2)^(1/3), km."""
    return float((gm * (day_s / 6.283185307179586) ** 2) ** (1.0 / 3.0) / 1e3)
