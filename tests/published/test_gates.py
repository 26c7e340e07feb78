"""Gates' model of execution errors against the closed forms of its moments, and order statistics.

C. R. Gates, JPL Technical Report 32-504 (1963): a burn v has an error with variance (fixed^2 + share^2 v^2) along it
and (fixed^2 + angle^2 v^2) on each axis across it (from memory: the report could not be looked up).
H. A. David and H. N. Nagaraja, Order Statistics: the largest of n samples is at or above the p-quantile with
probability 1 - p^n, hence 299 samples for 0.99 at 95 % (from memory; the same number by hand below).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.dispersions import burn_errors
from ringwright.models.scenario import Errors
from ringwright.optimizer.robustness.quantiles import quantiles

ERRORS = Errors(burn_m_s=0.05, burn_share=0.004, across_m_s=0.02, pointing_rad=0.01)


def test_moments_are_those_of_the_closed_form() -> None:
    velocity = np.array([30.0, -40.0, 12.0])
    size = float(np.linalg.norm(velocity))
    count = 400_000
    normal = np.random.default_rng(7).standard_normal((3, count))
    drawn = burn_errors(ERRORS, np.full(count, size), normal)
    u = velocity / size
    a = np.cross(u, [0.0, 0.0, 1.0])
    a /= np.linalg.norm(a)
    vectors = (
        np.outer(drawn.along_m_s, u) + np.outer(drawn.across_m_s, a) + np.outer(drawn.sideways_m_s, np.cross(u, a))
    )
    along, across = 0.05**2 + (0.004 * size) ** 2, 0.02**2 + (0.01 * size) ** 2
    expected = across * np.eye(3) + (along - across) * np.outer(u, u)
    # the standard error of a variance is sqrt(2 / n) of it: five of them
    assert np.cov(vectors.T) == pytest.approx(expected, abs=5.0 * math.sqrt(2.0 / count) * across)
    assert np.mean(vectors, axis=0) == pytest.approx(0.0, abs=5.0 * math.sqrt(across / count))
    assert np.trace(expected) == pytest.approx(along + 2.0 * across)


def test_no_burn_has_no_error() -> None:
    drawn = burn_errors(ERRORS, np.zeros(4), np.ones((3, 4)))
    assert not np.any(np.stack(drawn))


def test_largest_of_299_covers_the_99th_percentile_at_95_percent() -> None:
    assert 1.0 - 0.99**299 >= 0.95 > 1.0 - 0.99**298
    enough, too_few = np.arange(299.0), np.arange(298.0)
    assert quantiles(enough, (0.99,))[0].high == 298.0
    assert quantiles(too_few, (0.99,))[0].high == math.inf
    assert quantiles(enough, (0.01,))[0].low == 0.0
    assert quantiles(too_few, (0.01,))[0].low == -math.inf


@pytest.mark.parametrize("share", [0.5, 0.9, 0.99])
def test_bounds_hold_as_often_as_they_say(share: float) -> None:
    rng = np.random.default_rng(11)
    runs, count = 300, 400
    below = above = 0
    for _ in range(runs):
        [found] = quantiles(rng.random(count), (share,))
        below += found.low <= share
        above += found.high >= share
    # at least 95 % each; three standard errors of a share counted in that many runs
    least = 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / runs)
    assert below / runs >= least
    assert above / runs >= least


def test_too_few_samples_leave_a_bound_open() -> None:
    [found] = quantiles(np.arange(10.0), (0.99,))
    assert found.high == math.inf
    assert found.value == 9.0
