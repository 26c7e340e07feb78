"""Covariances of a flight that nobody corrects, against flights by Kepler's equation that are off by one sigma."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.models.burns import Impulsive
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import fly
from ringwright.models.kepler import propagate
from ringwright.models.scenario import Errors
from ringwright.optimizer.robustness.spread import covered, spread
from ringwright.tests.reports.exchange.messages import OWN, best, planned
from ringwright.tests.tolerances import EXACT, FIRST_ORDER_REL

Array = NDArray[np.float64]
ERRORS = Errors(burn_m_s=0.002, burn_share=1e-4, across_m_s=0.003, pointing_rad=2e-4, burn_time_s=0.1)


def axes_of(position: Array, velocity: Array) -> Array:
    radial, normal = position / np.linalg.norm(position), np.cross(position, velocity)
    normal = normal / np.linalg.norm(normal)
    return np.stack([radial, np.cross(normal, radial), normal])


def test_covariances_are_those_of_flights_off_by_one_sigma() -> None:
    outcome = planned(OWN)
    scenario = replace(outcome.scenario, errors=ERRORS)
    [part] = best(outcome).craft
    item = part.itinerary
    assert item is not None
    assert covered(scenario, part) == ""
    [nominal] = fly([item], gravity_around(scenario.body), Impulsive())
    gm, burns = scenario.body.gm, item.impulses
    moments = [burns[0].time_s + 5000.0, burns[1].time_s - 100.0, burns[1].time_s + 3000.0]

    def flown(until_s: float, changes: tuple[tuple[Array, float], tuple[Array, float]]) -> Array:
        """The state then, each burn changed by parts, m/s, and moved, s: conics from burn to burn."""
        position, velocity, now = item.position, item.velocity, item.start_s
        for burn, (parts, late_s) in zip(burns, changes, strict=True):
            when = burn.time_s + late_s
            if when > until_s:
                break
            position, velocity = propagate(position, velocity, when - now, gm)
            axes = axes_of(position, velocity)
            velocity = velocity + axes.T @ (np.array(burn[1:]) + parts)
            now = when
        return np.concatenate(propagate(position, velocity, until_s - now, gm))

    still = (np.zeros(3), 0.0)
    covariances = spread(scenario, outcome.ring, part, nominal, moments)
    for moment, found in zip(moments, covariances, strict=True):
        planned_state = flown(moment, (still, still))
        axes = axes_of(planned_state[:3], planned_state[3:])
        total = np.zeros((6, 6))
        for index, burn in enumerate(burns):
            vector = np.array(burn[1:])
            size = float(np.linalg.norm(vector))
            along = vector / size
            # two axes across the burn (Gates 1963): sizes as the scenario states them
            across = [np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])]
            across = [one - (one @ along) * along for one in across]
            across = [one / np.linalg.norm(one) for one in across]
            wide = float(np.hypot(ERRORS.across_m_s, ERRORS.pointing_rad * size))
            offs = [(along * float(np.hypot(ERRORS.burn_m_s, ERRORS.burn_share * size)), 0.0)]
            offs += [(one * wide, 0.0) for one in across] + [(np.zeros(3), ERRORS.burn_time_s)]
            for off in offs:
                # a tenth of a sigma to either side: what is of second order is not in a covariance
                more, less = ((share * off[0], share * off[1]) for share in (0.1, -0.1))
                plus, minus = ((one, still) if index == 0 else (still, one) for one in (more, less))
                apart = 5.0 * (flown(moment, plus) - flown(moment, minus))
                local = np.concatenate([axes @ apart[:3], axes @ apart[3:]])
                total += np.outer(local, local)
        scale = np.sqrt(np.outer(np.diag(total), np.diag(total)))
        assert np.abs(found - total).max() > 0.0
        assert np.all(np.abs(found - total) <= FIRST_ORDER_REL * scale + EXACT)
        assert np.linalg.eigvalsh(found).min() > -1e-9 * np.linalg.eigvalsh(found).max()


@pytest.mark.parametrize(
    ("errors", "why"),
    [(None, "states no errors"), (Errors(period_reading_s=1.0), "none of the errors stated counts")],
)
def test_it_says_why_there_is_no_covariance(errors: Errors | None, why: str) -> None:
    outcome = planned(OWN)
    [part] = best(outcome).craft
    assert why in covered(replace(outcome.scenario, errors=errors), part)


def test_carriers_and_drifts_are_not_covered() -> None:
    outcome = planned(OWN)
    scenario = replace(outcome.scenario, errors=ERRORS)
    [part] = best(outcome).craft
    assert "carrier" in covered(scenario, replace(part, route="carrier"))
    assert "months" in covered(scenario, replace(part, route="drift"))
