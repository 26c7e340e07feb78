"""Finds the functions of ``optimizer/rendezvous/lower_bounds.csv`` and proves each of them.

    python tests/optimizer/rendezvous/bound_search.py NEW.csv

For a range of leads, a least time and a cost the search maximizes F(start) - F(end) subject to rates of at most one at
sampled states, a second-order cone program, by a barrier method; samples where the rate is largest are added, and F is
scaled until the proof comes through. A smaller cost means fewer states and a better bound, so the cost is lowered to
what the bound itself says. No source: nothing of the kind is published.
"""

from __future__ import annotations

import csv
import math
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np

from ringwright.models.arrays import Array
from ringwright.optimizer.rendezvous.bound_rates import MONOMIALS, element_rates
from ringwright.optimizer.rendezvous.lower_bound import Bound
from ringwright.tests.optimizer.rendezvous.bound_proof import Domain, cover, reachable

SAMPLES, FRESH, WORST, ROUNDS = 2500, 15_000, 1500, 5
KEPT = 0.75
"""Rows with rates below this share are dropped between rounds."""
TRIES = 400
LEAST_TURNS = (1.0, 3.0)
SMALLEST, RATIO, LARGEST = 0.006, 1.6, 0.52
SEEDS = (0, 1)
BOXES = 2_000_000
SPARE = 1.002
"""By how much F is scaled down below its largest sampled rate before the first proof."""


def sampled(domain: Domain, count: int, random: np.random.Generator) -> Array:
    """States in reach, (4, count), many of them at the edge."""
    found, total = [], 0
    for _ in range(TRIES):
        if total >= count:
            break
        n = 40_000
        g = domain.g_most * np.where(random.random(n) < 0.2, np.sign(random.random(n) - 0.5), 2 * random.random(n) - 1)
        e = domain.e_most * np.where(random.random(n) < 0.4, 1.0, np.sqrt(random.random(n)))
        angle = 2.0 * np.pi * random.random(n)
        l = domain.l_range[0] + (domain.l_range[1] - domain.l_range[0]) * random.random(n)  # noqa: E741
        states = np.array([g, e * np.cos(angle), e * np.sin(angle), l])
        states = states[:, ~domain.excluded(states, np.zeros_like(states))]
        found.append(states)
        total += states.shape[1]
    if total < count:
        raise ValueError("next to nothing is in reach at this cost")
    return np.concatenate(found, axis=1)[:, :count]


def rate_rows(states: Array, k_most: float, scales: Array) -> Array:
    """Rates of each monomial, in scaled variables, at states and the four corners of (s, k), (4 N, 2, M)."""
    g, x, y, l = states  # noqa: E741
    speed, longitude, e_squared = (np.array(pair) for pair in element_rates(g, x, y))
    variables = np.array([g, l, x * x + y * y]) / scales[:, None]
    rows = np.empty((4, g.size, 2, len(MONOMIALS)))
    corners = [(s, k) for s in (0.0, 1.0) for k in (0.0, k_most)]
    for column, exponents in enumerate(MONOMIALS):
        partials = []
        for one in range(3):
            left = [power - (place == one) for place, power in enumerate(exponents)]
            product = np.prod([v ** max(p, 0) for v, p in zip(variables, left, strict=True)], axis=0)
            partials.append(exponents[one] * product / scales[one])
        for corner, (s, k) in enumerate(corners):
            by_l = k * longitude + 3.0 * s * (1.0 + g) ** 2 * speed
            rows[corner, :, :, column] = (partials[0] * speed + partials[1] * by_l + partials[2] * e_squared).T
    return rows.reshape(-1, 2, len(MONOMIALS))


def best_function(rows: Array, gain: Array) -> Array:
    """Coefficients that maximize ``gain @ coefficients`` with all rates at most one, by a logarithmic barrier."""
    flat = rows.reshape(-1, rows.shape[2])
    found, weight = np.zeros(rows.shape[2]), 10.0
    while True:
        for _ in range(50):
            rates = rows @ found
            room = 1.0 - (rates**2).sum(axis=1)
            scaled = np.einsum("nkm,nk->nm", rows, rates) / room[:, None]
            slope = -weight * gain + 2.0 * scaled.sum(axis=0)
            spread = flat * np.repeat(1.0 / np.sqrt(room), 2)[:, None]
            curve = 2.0 * spread.T @ spread + 4.0 * scaled.T @ scaled
            step = np.linalg.lstsq(curve, -slope, rcond=None)[0]
            decrement = float(-slope @ step)
            if decrement < 1e-5:
                break
            now, size = -weight * gain @ found - np.log(room).sum(), 1.0
            while size > 1e-9:
                after = 1.0 - ((rows @ (found + size * step)) ** 2).sum(axis=1)
                if after.min() > 0.0:
                    value = -weight * gain @ (found + size * step) - np.log(after).sum()
                    if value <= now - 0.1 * size * decrement:
                        break
                size *= 0.5
            found = found + size * step
        if len(rows) / weight < 2e-4 * abs(float(gain @ found)):
            return found
        weight *= 10.0


def lengths(rows: Array, coefficients: Array) -> Array:
    """Rates of a function at states, (N,)."""
    return np.asarray(np.sqrt(((rows @ coefficients) ** 2).sum(axis=1)))


def search(lead: tuple[float, float], turns: float, cap: float, seed: int = 0) -> Bound | None:
    """The best proved function for a range of leads, a least time and a cost, or None where the cost is too large."""
    random = np.random.default_rng(seed)
    k_most = 1.0 / (2.0 * math.pi * turns)
    domain = reachable(lead, k_most, cap)
    far = max(lead, key=abs)
    scales = np.array([abs(far), abs(far), far * far])
    exponents = np.array(MONOMIALS)
    pure = (exponents[:, 0] == 0) & (exponents[:, 2] == 0)
    # the mean over the range of what the bound is of the lead
    leads = [one for one in np.linspace(lead[0], lead[1], 5) if one != 0.0]
    gains = [np.where(pure, (-one / abs(far)) ** exponents[:, 1] / abs(one / far), 0.0) for one in leads]
    gain = np.mean(gains, axis=0)
    size = np.prod(scales**exponents, axis=1)
    rows = rate_rows(sampled(domain, SAMPLES, random), k_most, scales)
    for _ in range(ROUNDS):
        found = best_function(rows, gain)
        rows = rows[lengths(rows, found) > KEPT]
        fresh = rate_rows(sampled(domain, FRESH, random), k_most, scales)
        rates = lengths(fresh, found)
        rows = np.concatenate([rows, fresh[np.argsort(-rates)[:WORST]]])
    found = found / (float(rates.max()) * SPARE)
    for _ in range(60):
        # what is proved is what is written
        bound = Bound(lead=lead, turns=turns, cap=cap, coefficients=tuple(float(f"{one:.9e}") for one in found / size))
        verdict = cover(domain, bound.coefficients, k_most, BOXES)
        if verdict.proved:
            return bound
        found = found / (float(verdict.rates.max(initial=1.0)) * 1.0005)
    return None


def tangent_cost(lead: float) -> float:
    """Two burns onto and off a tangent orbit that uses the whole time, for a lead per radian of time."""
    return 2.0 * abs(1.0 - math.sqrt(2.0 - (1.0 + lead) ** (2.0 / 3.0)))


def ranges() -> list[tuple[float, float]]:
    """Ranges of leads per radian of time that the table has, the smallest first, ahead and behind in turn."""
    edges = [0.0, *(SMALLEST * RATIO**power for power in range(10)), LARGEST]
    found = list(pairwise(edges))
    return [(sign * near, sign * far) for near, far in found for sign in (1.0, -1.0)]


def main(path: Path) -> None:
    """Write the whole table."""
    names = ["lead_from", "lead_to", "turns", "cap"] + ["g{}l{}e{}".format(*one) for one in MONOMIALS]
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(names)
        for turns in LEAST_TURNS:
            for lead in ranges():
                cap = float(f"{tangent_cost(lead[1]):.6f}")
                found = [one for seed in SEEDS if (one := search(lead, turns, cap, seed)) is not None]
                best = max(found, key=lambda one: float(one.least(one.lead[1])), default=None)
                if best is None:
                    print(f"none for {lead}, {turns} turns", flush=True)
                    continue
                writer.writerow([*best.lead, turns, cap, *best.coefficients])
                file.flush()
                shares = [float(best.least(one)) / max(tangent_cost(one), 1e-12) for one in lead]
                print(lead, turns, [round(one, 4) for one in shares], flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
