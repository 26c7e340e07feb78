"""How long orbits last, against closed forms for decay in an exponential atmosphere, and against a direct flight."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.special import ive

from ringwright.models.flight.drag import Air
from ringwright.models.flight.ephemeris import Circle
from ringwright.models.flight.forces import Surfaces
from ringwright.models.flight.lifetime import circles, deciding, lasting
from ringwright.models.flight.mean_of_state import mean_orbits
from ringwright.models.flight.point_masses import PointPull
from ringwright.models.flight.zonals import Zonals
from ringwright.models.scenario import Body
from ringwright.models.surroundings import AirLayer, Surface
from ringwright.models.units import DAY_S, YEAR_S
from ringwright.tests.tolerances import FIRST_ORDER_REL, LIFETIME_REL, SAMPLED_REL, THREE_FIRST_ORDER_REL

GM, RADIUS_M, TOP_M = 3.986e14, 6.378e6, 1.2e5
BASE_M, DENSITY, SCALE_M = 4.0e5, 3.0e-12, 5.0e4
DRAG_M2_KG = 0.022
LAYER = AirLayer(altitude_m=BASE_M, density_kg_m3=DENSITY, scale_height_m=SCALE_M)
STILL = Body(name="Vell", gm=GM, radius_m=RADIUS_M, atmosphere_top_m=TOP_M, air=(LAYER,))


def _lasts(body: Body, low_m: float, high_m: float, inclination_deg: float = 0.0) -> float:
    air = Air.of(body)
    assert air is not None
    orbit = circles(np.array([low_m]), np.array([math.radians(inclination_deg)]), np.zeros(1), 0.5, np.array([high_m]))
    surfaces = Surfaces.of([Surface(drag_m2_kg=DRAG_M2_KG)])
    assert deciding(body, (air,), orbit) == ("drag",)
    return lasting(body, (air,), orbit, surfaces, 0.0)[0].seconds


def test_circles_last_as_by_the_closed_form() -> None:
    """Circles sink by da/dt = -rho Cd A/m sqrt(GM a) (King-Hele 1987, chapter 4; Vallado 2013, section 9.6), which is
    integrated here with a held at its mean: H / (rho_0 Cd A/m sqrt(GM a)) (1 - e^(-h / H))."""
    for altitude_m in (3.0e5, 4.5e5):
        sinks = altitude_m - TOP_M
        thin = DENSITY * math.exp((BASE_M - altitude_m) / SCALE_M)
        mean_m = RADIUS_M + altitude_m - SCALE_M
        closed = SCALE_M / (thin * DRAG_M2_KG * math.sqrt(GM * mean_m)) * -math.expm1(-sinks / SCALE_M)
        found = _lasts(STILL, RADIUS_M + altitude_m, RADIUS_M + altitude_m)
        assert found == pytest.approx(closed, rel=FIRST_ORDER_REL)


def test_ellipses_last_as_by_the_closed_form() -> None:
    """King-Hele 1987, chapter 12, for 3 H / a < e < 0.2 (from memory): with T the period and T' its rate at first,
    L = 3/4 e T / |T'| (1 + 7 e / 6 + 5 e^2 / 16
    + H / (2 a e) (1 + 11 e / 12 + 3 H / (4 a e) + 3 H^2 / (4 a^2 e^2)))."""
    for e in (0.05, 0.12):
        low_m = RADIUS_M + 3.5e5
        a = low_m / (1.0 - e)
        z = a * e / SCALE_M
        thin = DENSITY * math.exp((BASE_M - 3.5e5) / SCALE_M)
        # da a turn, -2 pi delta a^2 rho (I0 + 2 e I1 + 3/4 e^2 (I0 + I2) + ...) e^-z: Vallado 2013, section 9.6.3
        series = ive(0, z) + 2.0 * e * ive(1, z) + 0.75 * e * e * (ive(0, z) + ive(2, z))
        sinks = 2.0 * math.pi * DRAG_M2_KG * a * a * thin * series
        turn_s = 2.0 * math.pi * math.sqrt(a**3 / GM)
        shorter = 1.5 * sinks / a  # of the period, a turn: T'
        h = SCALE_M / (a * e)
        further = 0.5 * h * (1.0 + 11.0 * e / 12.0 + 0.75 * h + 0.75 * h * h)
        closed = 0.75 * e * turn_s / shorter * (1.0 + 7.0 * e / 6.0 + 5.0 * e * e / 16.0 + further)
        assert _lasts(STILL, low_m, 2.0 * a - low_m) == pytest.approx(closed, rel=THREE_FIRST_ORDER_REL)


@pytest.mark.parametrize("j2", [0.0, 1e-3])
def test_a_short_life_is_that_of_a_direct_flight(j2: float) -> None:
    """Newton's law with drag in turning air, by scipy, until a craft is at the top of the air."""
    body = Body(
        name="Vell", gm=GM, radius_m=RADIUS_M, atmosphere_top_m=TOP_M, air=(LAYER,), sidereal_day_s=86_164.0,
        j2=j2, j2_radius_m=RADIUS_M,
    )  # fmt: skip
    low_m, high_m, tilt = RADIUS_M + 2.0e5, RADIUS_M + 2.5e5, math.radians(50.0)
    spin, zonals = np.array([0.0, 0.0, body.spin_rad_s]), Zonals.of(body, 2)

    def rate(_: float, state: np.ndarray) -> np.ndarray:
        r, v = state[:3], state[3:]
        wind = v - np.cross(spin, r)
        radius = float(np.linalg.norm(r))
        thick = DENSITY * math.exp((RADIUS_M + BASE_M - radius) / SCALE_M)
        push = -0.5 * thick * DRAG_M2_KG * float(np.linalg.norm(wind)) * wind
        return np.concatenate([v, -GM * r / radius**3 + zonals.acceleration(r[:, np.newaxis])[:, 0] + push])

    def down(_: float, state: np.ndarray) -> float:
        return float(np.linalg.norm(state[:3])) - RADIUS_M - TOP_M

    down.terminal = True  # type: ignore[attr-defined]
    a = 0.5 * (low_m + high_m)
    first = np.array([math.cos(0.5), math.sin(0.5) * math.cos(tilt), math.sin(0.5) * math.sin(tilt)])
    ahead = np.array([-math.sin(0.5), math.cos(0.5) * math.cos(tilt), math.cos(0.5) * math.sin(tilt)])
    state = np.concatenate([low_m * first, math.sqrt(GM * (2.0 / low_m - 1.0 / a)) * ahead])
    flown = solve_ivp(rate, (0.0, 60.0 * DAY_S), state, events=down, rtol=1e-6, atol=1.0, method="DOP853")
    assert flown.t_events is not None
    assert flown.t_events[0].size
    air = Air.of(body)
    assert air is not None
    orbit, surfaces = mean_orbits(body, state[np.newaxis]), Surfaces.of([Surface(drag_m2_kg=DRAG_M2_KG)])
    found = lasting(body, (air,), orbit, surfaces, 0.0)[0].seconds
    assert found == pytest.approx(float(flown.t_events[0][0]), rel=LIFETIME_REL)


@pytest.mark.parametrize(("inclination_deg", "most"), [(35.0, 0.0), (45.0, 1.0 / 6.0), (60.0, 7.0 / 12.0), (80.0, 1.0)])
def test_a_circle_under_a_strong_pull_grows_long_and_strikes_the_ground(inclination_deg: float, most: float) -> None:
    """Lidov 1962 (from memory): beyond 39.2 deg circles do not stay round; with k = 3/4 GM' / (d^3 n) the eccentricity
    grows as e^(k sqrt(2 (5 sin^2 i - 2)) t), and up to sqrt(1 - 5/3 cos^2 i), 0.975 at 80 deg."""
    body = Body(name="Vell", gm=4.9e12, radius_m=1.0e6)
    distance_m, pull_gm = 3.844e8, 3.986e14
    turn_s = 2.0 * math.pi * math.sqrt(distance_m**3 / pull_gm)
    pull = PointPull(name="Oss", gm=pull_gm, path=Circle(radius_m=distance_m, rate_rad_s=2.0 * math.pi / turn_s))
    radius_m, tilt = 5.0e6, math.radians(inclination_deg)
    k = 0.75 * pull_gm / distance_m**3 / math.sqrt(body.gm / radius_m**3)
    orbit = circles(np.array([radius_m]), np.array([tilt]), np.zeros(1))
    found = lasting(body, (pull,), orbit, Surfaces.of([Surface()]), 0.0, 20.0 * YEAR_S)[0]
    if most == 1.0:
        folds = math.log(1000.0) / (k * math.sqrt(2.0 * (5.0 * math.sin(tilt) ** 2 - 2.0)))
        # from a thousandth to about one: the part that fades takes its time, and growth ends more slowly
        assert 0.8 * folds < found.seconds < 1.5 * folds
    elif most:
        assert found.seconds == math.inf
        assert found.eccentricity == pytest.approx(math.sqrt(most), rel=SAMPLED_REL)
    else:
        assert found.eccentricity < 0.01
