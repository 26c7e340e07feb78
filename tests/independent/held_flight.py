"""How long craft keep their spacing by a flight that shares no code with the planner's.

Several craft are stepped together by scipy's DOP853 under a force written from the definitions, in rows of craft:
harmonics in spherical components with scipy's Legendre functions (Vallado 2013, equations 8-25 to 8-27), other bodies
by the plain difference of two attractions at positions asked of pyerfa each time, drag by the layers of the data file,
sunlight with the shadow of a point Sun, at whose edges the integration is stopped and started again.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import erfa
import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.special import assoc_legendre_p_all

from .body_data import AU_M, DAY_S, coefficients, constants, orientation, series

Array = NDArray[np.float64]
J2000 = 2_451_545.0
GM_SUN, LIGHT_AT_AU = 132_712_440_041.27942e9, 1360.8 / 299_792_458.0
SAMPLES, WINDOW = 16, 8
"""Samples a turn, and turns over which angles are smoothed."""

Where = Callable[[float], Array]


@dataclass(frozen=True)
class World:
    """What pulls and pushes.

    Args:
        gm, radius: of the body, its equatorial radius, m.
        terms: rows of degree, order, C, S (unnormalized) and the radius that they belong to, m.
        meridian, spin: rad and rad/s.
        others: GM and position, m at seconds from the start.
        layers: of the air, rows of altitude, m, density and scale height, m.
        sun: where the light comes from; None for none.
    """

    gm: float
    radius: float
    terms: list[tuple[int, int, float, float, float]]
    meridian: float
    spin: float
    others: list[tuple[float, Where]] = field(default_factory=list)
    layers: list[tuple[float, float, float]] = field(default_factory=list)
    sun: Where | None = None

    def pull(self, t: float, r: Array, v: Array, drag: Array, light: Array, lit: Array) -> Array:
        """Accelerations (3, n) of craft, with drag and light as coefficient times area over mass, lit or not."""
        length = np.linalg.norm(r, axis=0)
        found = -self.gm * r / length**3 + self._uneven(t, r)
        for gm, path in self.others:
            there = path(t)[:, np.newaxis]
            away = there - r
            found += gm * (away / np.linalg.norm(away, axis=0) ** 3 - there / np.linalg.norm(there) ** 3)
        if self.layers and drag.any():
            height = length - self.radius
            foot = np.array([row[0] for row in self.layers])
            which = np.maximum(np.searchsorted(foot, height, side="right") - 1, 0)
            base, density, scale = np.array(self.layers)[which].T
            wind = v - np.cross([0.0, 0.0, self.spin], r.T).T
            thick = density * np.exp((base - height) / scale)
            found -= 0.5 * thick * drag * np.linalg.norm(wind, axis=0) * wind
        if self.sun is not None and light.any():
            away = r - self.sun(t)[:, np.newaxis]
            found += lit * light * LIGHT_AT_AU * AU_M**2 * away / np.linalg.norm(away, axis=0) ** 3
        return np.asarray(found)

    def _uneven(self, t: float, r: Array) -> Array:
        """Partial derivatives along radius, latitude and longitude, put together."""
        if not self.terms:
            return np.zeros_like(r)
        x, y, z = r
        length, flat = np.linalg.norm(r, axis=0), np.hypot(x, y)
        latitude, longitude = np.arctan2(z, flat), np.arctan2(y, x) - self.meridian - self.spin * t
        n, m = (np.array([row[k] for row in self.terms], dtype=int) for k in (0, 1))
        c, s, radius = (np.array([row[k] for row in self.terms])[:, np.newaxis] for k in (2, 3, 4))
        top = int(n.max())
        legendre = np.asarray(assoc_legendre_p_all(top, top + 1, np.sin(latitude)))[0]
        sign = ((-1.0) ** m)[:, np.newaxis]
        here, above = sign * legendre[n, m], -sign * legendre[n, m + 1]
        order, degree = m[:, np.newaxis], n[:, np.newaxis]
        cos, sin = np.cos(order * longitude), np.sin(order * longitude)
        wave, side = c * cos + s * sin, order * (s * cos - c * sin)
        share = (radius / length) ** degree
        outward = -np.sum((degree + 1) * share * here * wave, axis=0)
        north = np.sum(share * (above - order * np.tan(latitude) * here) * wave, axis=0)
        east = np.sum(share * here * side, axis=0) / np.cos(latitude)
        up, ahead = r / length, np.stack([-y, x, 0.0 * z]) / flat
        return np.asarray(self.gm / length**2 * (outward * up + north * np.cross(up.T, ahead.T).T + east * ahead))

    def depth(self, t: float, r: Array) -> Array:
        """Angle of craft (3, n) from the edge of the shadow of a point Sun, rad; below 0 in it."""
        assert self.sun is not None
        away = r - self.sun(t)[:, np.newaxis]
        length, distance = np.linalg.norm(r, axis=0), np.linalg.norm(away, axis=0)
        off = np.arccos(np.clip(np.einsum("ij,ij->j", r, away) / (length * distance), -1.0, 1.0))
        return np.asarray(off - np.arcsin(self.radius / length))


@dataclass(frozen=True)
class Craft:
    """A craft: its state at the start of its flight, when that is, its burns (time, radial, along, cross), surfaces."""

    start: float
    state: Array
    burns: tuple[tuple[float, float, float, float], ...]
    drag: float
    light: float
    slot_angle: float


def around(name: str, days: float, forces: Sequence[str], degree: int) -> World:
    """A body of the data files under forces by their printed names, at days of terrestrial time from J2000."""
    row = constants(name)
    radius = row["j2_radius_km"] * 1e3
    terms = [(2, 0, -row["j2"], 0.0, radius)]
    if degree >= 2:
        terms.append((2, 2, row.get("c22", 0.0), row.get("s22", 0.0), radius))
    if degree >= 3:
        reference, rows = coefficients(name, degree)
        for n, m, c, s in rows:
            plain = math.sqrt((1 if m == 0 else 2) * (2 * n + 1) * math.factorial(n - m) / math.factorial(n + m))
            terms.append((n, m, c * plain, s * plain, reference))
    if name == "earth":
        turns, spin = row["rotation_turns"]
        meridian = 2.0 * math.pi * math.fmod(turns + spin * (days - 69.184 / DAY_S), 1.0)
        spin *= 2.0 * math.pi / DAY_S
        turn = np.asarray(erfa.c2i06a(J2000, days))

        def seen(where: Callable[[float], Array]) -> Where:
            return lambda t: np.asarray(AU_M * turn @ where(days + t / DAY_S))
    else:
        *pole, meridian = orientation({"pole_terms_deg": [], "meridian_terms_deg": [], **row}, days)
        spin = math.radians(row["meridian_deg"][1]) / DAY_S

        def seen(where: Callable[[float], Array]) -> Where:
            return series((pole[0], pole[1]), days, where)

    sun = seen(_sun_of(name, row))
    others: list[tuple[float, Where]] = []
    if "Sun" in forces:
        others.append((GM_SUN, sun))
    if "Moon" in forces:
        others.append((constants("moon")["gm_km3_s2"] * 1e9, seen(lambda d: erfa.moon98(J2000, d)["p"])))
    if "Earth" in forces:
        others.append((constants("earth")["gm_km3_s2"] * 1e9, seen(lambda d: -erfa.moon98(J2000, d)["p"])))
    for parent in ("Jupiter", "Saturn"):
        if parent in forces:
            size = row["orbit"]["semi_major_axis_km"] * 1e3
            others.append((constants(parent.lower())["gm_km3_s2"] * 1e9, _over(size, meridian, spin)))
    air = [(foot * 1e3, density, scale * 1e3) for foot, density, scale in row.get("air", [])]
    return World(
        gm=row["gm_km3_s2"] * 1e9,
        radius=row["radius_km"] * 1e3,
        terms=terms,
        meridian=meridian,
        spin=spin,
        others=others,
        layers=air if "drag" in forces else [],
        sun=sun if "sunlight" in forces else None,
    )


def _sun_of(name: str, row: dict[str, object]) -> Callable[[float], Array]:
    """The Sun as seen from a body, or from the planet of a moon, au on the ICRF at days from J2000."""
    if name == "earth":
        return lambda d: -np.asarray(erfa.epv00(J2000, d)[0]["p"])
    if name == "moon":
        return lambda d: -np.asarray(erfa.epv00(J2000, d)[0]["p"]) - np.asarray(erfa.moon98(J2000, d)["p"])
    orbit = row["orbit"]
    assert isinstance(orbit, dict)
    planet = name if orbit["around"] == "sun" else orbit["around"]
    number = ("mercury", "venus", "earth", "mars", "jupiter", "saturn").index(planet) + 1
    return lambda d: -np.asarray(erfa.plan94(J2000, d, number)["p"])


def _over(size: float, meridian: float, spin: float) -> Where:
    return lambda t: size * np.array([math.cos(meridian + spin * t), math.sin(meridian + spin * t), 0.0])


def made_up(text: str) -> World:
    """A world of a scenario's own, as its text gives it in kilometers, hours, days and degrees."""
    given = tomllib.loads(text)
    body = given["body"]
    radius = body["radius_km"] * 1e3
    air, thicker = body["atmosphere"], given.get("forces", {}).get("density_factor", 1.0)
    others: list[tuple[float, Where]] = []
    for one in given["pull"]:
        orbit = one["orbit"]
        lean, node = (math.radians(orbit.get(key, 0.0)) for key in ("inclination_deg", "node_deg"))
        begin, rate = math.radians(orbit["angle_deg"]), 2.0 * math.pi / (orbit["period_d"] * DAY_S)
        others.append((one["gm_km3_s2"] * 1e9, _circle(orbit["radius_km"] * 1e3, begin, rate, lean, node)))
    return World(
        gm=body["gm_km3_s2"] * 1e9,
        radius=radius,
        terms=[(2, 0, -body.get("j2", 0.0), 0.0, radius), (2, 2, body["c22"], 0.0, radius)],
        meridian=math.radians(body["prime_meridian_deg"]),
        spin=2.0 * math.pi / (body["sidereal_day_h"] * 3600.0),
        others=others,
        layers=[(air["altitude_km"] * 1e3, thicker * air["density_kg_m3"], air["scale_height_km"] * 1e3)],
    )


def _circle(size: float, begin: float, rate: float, lean: float, node: float) -> Where:
    first = np.array([math.cos(node), math.sin(node), 0.0])
    second = np.array([-math.sin(node) * math.cos(lean), math.cos(node) * math.cos(lean), math.sin(lean)])
    return lambda t: size * (math.cos(begin + rate * t) * first + math.sin(begin + rate * t) * second)


def leaves(
    world: World, craft: Sequence[Craft], turn: float, begin: float, end: float, tolerance: float
) -> tuple[float, Array, Array]:
    """Fly craft and find when the first is off its place among them by more than a tolerance.

    Args:
        turn: period of the ring, s.
        begin: when it is looked at first, s from the start.
        end: until when.

    Returns:
        That moment, s from the start, infinite for none; times (m,) and errors in the spacing (m, n), rad.
    """
    times, places = together(world, craft, turn, begin, end)
    first = places[:, :, [0]]
    poles = np.cross(places[:, :3], places[:, 3:], axis=1)
    poles /= np.linalg.norm(poles, axis=1, keepdims=True)
    # the plane between both
    up = poles + poles[:, :, [0]]
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    here, there = places[:, :3], np.broadcast_to(first[:, :3], places[:, :3].shape)
    gap = np.arctan2(
        np.sum(up * np.cross(there, here, axis=1), axis=1),
        np.sum(there * here, axis=1) - np.sum(there * up, axis=1) * np.sum(here * up, axis=1),
    )
    wanted = np.array([one.slot_angle - craft[0].slot_angle for one in craft])
    off = np.unwrap(np.remainder(gap - wanted + math.pi, 2.0 * math.pi) - math.pi, axis=0)
    off = np.apply_along_axis(smoothed, 0, off)
    off -= off.mean(axis=1, keepdims=True)
    middle = _middles(times, len(off))
    late = np.flatnonzero(np.abs(off).max(axis=1) > tolerance)
    return (float(middle[late[0]]) if late.size else math.inf), np.asarray(middle), np.asarray(off, np.float64)


def together(world: World, craft: Sequence[Craft], turn: float, begin: float, end: float) -> tuple[Array, Array]:
    """Times (m,), half a window before a moment and as much past another, and states of craft then, (m, 6, n)."""
    drag, light = (np.array([getattr(one, key) for one in craft]) for key in ("drag", "light"))
    burned = max((burn[0] for one in craft for burn in one.burns), default=-math.inf)
    # half a window before the first moment, but no burn within, and as much past the last
    from_s = max(begin - 0.5 * WINDOW * turn, burned)
    times = np.asarray(
        from_s + turn / SAMPLES * np.arange(math.ceil((end + begin - 2.0 * from_s) / turn) * SAMPLES), np.float64
    )
    at = np.stack([brought(world, one, from_s) for one in craft], axis=1)
    return times, _flown(world, at, drag, light, times)


def off_longitudes(world: World, craft: Sequence[Craft], wanted: Array, turn: float, begin: float) -> Array:
    """How far craft are east of longitudes, rad (n,), by their smooth mean about a moment, seen from the poles."""
    times, places = together(world, craft, turn, begin, begin + 0.6 * WINDOW * turn)
    angle = np.arctan2(places[:, 1], places[:, 0]) - (world.meridian + world.spin * times)[:, np.newaxis]
    off = np.unwrap(np.remainder(angle - wanted + math.pi, 2.0 * math.pi) - math.pi, axis=0)
    return np.apply_along_axis(smoothed, 0, off)[0]  # type: ignore[no-any-return]


def at_rest(world: World, one: Craft) -> tuple[float, Array]:
    """When the burns of a craft are over, or its flight begins, and its state then."""
    last_s = max((burn[0] for burn in one.burns), default=one.start)
    return last_s, brought(world, one, last_s)


def onward(world: World, one: Craft, state: Array, times: Array) -> Array:
    """States (m, 6) of a craft at times, rising, from that at the first of them, without a burn."""
    return _flown(world, state[:, np.newaxis], np.array([one.drag]), np.array([one.light]), times)[:, :, 0]


def _middles(times: Array, count: int) -> Array:
    return times[WINDOW * SAMPLES // 2 :][:count]


def smoothed(values: Array) -> Array:
    x = (2.0 * np.arange(WINDOW * SAMPLES + 1) / (WINDOW * SAMPLES)) - 1.0
    weights = np.cos(0.5 * math.pi * x) ** 4
    return np.convolve(values, weights / weights.sum(), "valid")


def brought(world: World, one: Craft, to_s: float) -> Array:
    """State of a craft once its burns are over."""
    state, now = one.state, one.start
    drag, light = np.array([one.drag]), np.array([one.light])
    for time_s, *parts in one.burns:
        if time_s > now:
            state = _flown(world, state[:, np.newaxis], drag, light, np.array([now, time_s]))[-1, :, 0]
        now = max(now, time_s)
        up = state[:3] / np.linalg.norm(state[:3])
        pole = np.cross(state[:3], state[3:])
        pole /= np.linalg.norm(pole)
        state = state.copy()
        state[3:] += parts[0] * up + parts[1] * np.cross(pole, up) + parts[2] * pole
    assert to_s > now - 1e-3, "a craft burns within the window"
    if to_s > now:
        state = _flown(world, state[:, np.newaxis], drag, light, np.array([now, to_s]))[-1, :, 0]
    return state


def _flown(world: World, at: Array, drag: Array, light: Array, times: Array) -> Array:
    """States (m, 6, n) at times, rising, from states (6, n) at the first of them."""
    count = at.shape[1]
    scale = np.linalg.norm(at[:3], axis=0).max(), np.linalg.norm(at[3:], axis=0).max()
    small = np.repeat([1e-12 * scale[0], 1e-12 * scale[1]], 3 * count)
    lit = np.ones(count)
    watched = np.flatnonzero(light) if world.sun is not None else np.zeros(0, dtype=int)

    def slope(t: float, y: Array) -> Array:
        rows = y.reshape(6, count)
        return np.concatenate([rows[3:], world.pull(t, rows[:3], rows[3:], drag, light, lit)]).ravel()

    def edge(k: int) -> Callable[[float, Array], float]:
        def signed(t: float, y: Array) -> float:
            return float(world.depth(t, y.reshape(6, count)[:3, [k]])[0])

        signed.terminal = True  # type: ignore[attr-defined] # as scipy asks for
        signed.direction = -1.0 if lit[k] else 1.0  # type: ignore[attr-defined]
        return signed

    state, now, found = at.ravel(), float(times[0]), [at.ravel()[np.newaxis]]
    if watched.size:
        lit[watched] = world.depth(now, at[:3, watched]) > 0.0
    while now < times[-1]:
        ahead = times[times > now]
        events = [edge(int(k)) for k in watched] or None
        part = solve_ivp(slope, (now, float(times[-1])), state, "DOP853", ahead, events=events, rtol=1e-12, atol=small)
        assert part.success, part.message
        if len(part.t):
            found.append(part.y.T)
        if part.status == 0:
            break
        assert part.t_events is not None
        assert part.y_events is not None
        which = next(k for k, seen in enumerate(part.t_events) if seen.size)
        now, state = float(part.t_events[which][0]), part.y_events[which][0]
        lit[watched[which]] = 1.0 - lit[watched[which]]
    return np.concatenate(found).reshape(len(times), 6, count)
