"""What real engines make of options: how many burns, how long, how far apart; what their length costs; what they can.

A burn that turns through an angle w while its direction is held to the stars loses about w^2 / 24 of itself: the mean
of the cosine of what it is off, with the arc that it leaves behind (second order; compared with numerical flights in
tests/optimizer/trajectory/test_long_burns.py). That is an estimate for choosing: plans are flown with the burns as
they are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...models.arrays import Mask, Rows
from ...models.burns import FiniteThrust, burn_duration, mass_after
from ...models.craft import mass_at_start
from .options import F, I, Options
from .problem import CraftClass, Problem

NONE_M_S = 1e-6
"""A burn smaller than this is none."""

LONGEST_RAD = 0.8
"""A burn during which the orbit turns farther than this is no impulse in any sense, and is not planned."""

WORTH_M_S = 0.01
"""A loss below this is none: no craft waits a turn to save a centimeter a second."""

BURNS_MAX = 6
"""Most burns of any option."""


@dataclass(frozen=True, kw_only=True)
class BurnTable(Rows):
    """The burns of n options in order of time, shape (n, burns); what an option lacks has size 0 and no time (nan).

    ``rate_rad_s`` is how fast the orbit turns where each comes.
    """

    size_m_s: F
    time_s: F
    rate_rad_s: F

    @property
    def count(self) -> I:
        """How many burns each has."""
        return np.asarray(np.count_nonzero(self.size_m_s > NONE_M_S, axis=1), dtype=np.int64)


def engine_of(problem: Problem, options: Options, row: int) -> FiniteThrust | None:
    """The engine that an option is flown with; None where its burns are taken to be impulses.

    That is where no thrust is given; and with an upper stage, whose thrust is not known, or in a drift.
    """
    craft = problem.classes[options.craft_class[row]].craft
    table = options.tables.get(int(options.route[row]))
    if craft.thrust_n is None or craft.isp_s is None or (table is not None and table.impulsive):
        return None
    way = options.way[row]
    if way >= 0 and problem.scenario.pads[problem.ways[way].pad].upper_stage is not None:
        return None
    mass = float(mass_at_start(craft, float(options.delta_v_m_s[row])))
    return FiniteThrust(thrust_n=craft.thrust_n, isp_s=craft.isp_s, mass_kg=mass)


def burn_table(problem: Problem, options: Options) -> BurnTable:
    """Sizes and times of the burns that options were planned with. A tilt taken off is shared out evenly."""
    ring = problem.ring
    n = len(options)
    size, time = np.zeros((n, BURNS_MAX)), np.full((n, BURNS_MAX), np.nan)
    arrival = problem.arrival_speed(options)
    level = options.revolutions == 0
    alone = options.bundle < 0
    entry = np.array([way.entry_delta_v_m_s for way in problem.ways] + [0.0])[options.way]
    inserted = np.array([way.insertion_after_s for way in problem.ways] + [0.0])[options.way]
    parks = alone & (entry > 0.0) & (options.way >= 0)
    size[:, 0] = np.where(parks, entry, 0.0)
    time[:, 0] = np.where(parks, options.liftoff_s + inserted + options.parking_wait_s, np.nan)
    size[:, 1] = np.abs(np.where(level, ring.speed_m_s, options.speed_m_s) - arrival)
    time[:, 1] = options.burn_s
    size[:, 2] = np.where(level, 0.0, np.abs(ring.speed_m_s - options.speed_m_s))
    time[:, 2] = np.where(level, np.nan, options.finish_s - options.turn_after_s)
    for rows, table in options.detailed():
        size[rows], time[rows] = table.burns(problem, options.take(rows), size[rows], time[rows])
    after = options.turn_after_s > 0.0
    size[after, 3] = np.maximum(options.delta_v_m_s - size.sum(axis=1), 0.0)[after]
    time[after, 3] = options.finish_s[after]
    time[size <= NONE_M_S] = np.nan
    rate = np.full((n, BURNS_MAX), ring.rate_rad_s)
    parking = np.array([way.parking_rate_rad_s or 0.0 for way in problem.ways] + [0.0])[options.way]
    rate[:, 0] = np.where(parks, parking, ring.rate_rad_s)
    return BurnTable(size_m_s=np.where(np.isnan(time), 0.0, size), time_s=time, rate_rad_s=rate)


def _impulsive(options: Options) -> Mask:
    """Mask of the options whose route burns impulses whatever the engine."""
    out = np.zeros(len(options), dtype=bool)
    for rows, table in options.detailed():
        out[rows] = table.impulsive
    return out


def lengths_s(group: CraftClass, table: BurnTable, delta_v_m_s: F) -> F:
    """How long each burn lasts at full thrust, shape (n, burns); 0 without a thrust."""
    craft = group.craft
    out = np.zeros(table.size_m_s.shape)
    if craft.thrust_n is None or craft.isp_s is None:
        return out
    mass = np.asarray(mass_at_start(craft, delta_v_m_s), dtype=np.float64)
    for k in range(table.size_m_s.shape[1]):
        out[:, k] = burn_duration(mass, table.size_m_s[:, k], craft.isp_s, craft.thrust_n)
        mass = mass_after(mass, table.size_m_s[:, k], craft.isp_s)
    return out


def loss_m_s(group: CraftClass, table: BurnTable, delta_v_m_s: F) -> F:
    """About what the length of its burns costs each option, (n,): dv (n t)^2 / 24, burn by burn."""
    turned = table.rate_rad_s * lengths_s(group, table, delta_v_m_s)
    lost = np.sum(table.size_m_s * turned**2, axis=1) / 24.0
    return np.asarray(np.where(lost < WORTH_M_S, 0.0, lost))


def with_engines(problem: Problem, options: Options) -> Options:
    """Options with the cost of long burns added, less those that an engine cannot fly; as they are without engines.

    Left out are options with more burns than an engine may be lit, a burn smaller than its smallest, or burns closer
    together than it can be lit again (from cut-off to ignition); and those with a burn through a good part of a turn.
    """
    limited = [c.craft for c in problem.classes if c.craft.thrust_n is not None or _limits(c)]
    if not limited or not len(options):
        return options
    table, impulsive = burn_table(problem, options), _impulsive(options)
    cost, keep = options.delta_v_m_s.copy(), np.ones(len(options), dtype=bool)
    for index, group in enumerate(problem.classes):
        (own,) = np.nonzero(options.craft_class == index)
        if own.size:
            mine = table.take(own)
            keep[own] = able(group, mine, options.delta_v_m_s[own])
            flown = ~impulsive[own] & (options.bundle[own] < 0)
            cost[own] += np.where(flown, loss_m_s(group, mine, options.delta_v_m_s[own]), 0.0)
    return replace(options, delta_v_m_s=cost).take(keep)


def _limits(group: CraftClass) -> bool:
    craft = group.craft
    return craft.burns_max is not None or craft.burn_least_m_s > 0.0 or craft.between_burns_s > 0.0


def able(group: CraftClass, table: BurnTable, delta_v_m_s: F) -> Mask:
    """Mask of options that the engine of a class can fly."""
    craft = group.craft
    keep = np.ones(len(table.size_m_s), dtype=bool)
    if craft.burns_max is not None:
        keep &= table.count <= craft.burns_max
    real = table.size_m_s > NONE_M_S
    if craft.burn_least_m_s > 0.0:
        keep &= np.all(~real | (table.size_m_s >= craft.burn_least_m_s * (1.0 - 1e-9)), axis=1)
    if craft.between_burns_s > 0.0 or craft.thrust_n is not None:
        half = 0.5 * lengths_s(group, table, delta_v_m_s)
        keep &= np.all(2.0 * half * table.rate_rad_s <= LONGEST_RAD, axis=1)
        last = np.full(len(keep), -np.inf)
        for k in np.arange(table.size_m_s.shape[1]):
            lit = np.where(real[:, k], table.time_s[:, k] - half[:, k], np.inf)
            keep &= lit >= last + craft.between_burns_s * (1.0 - 1e-9)
            last = np.where(real[:, k], table.time_s[:, k] + half[:, k], last)
    return keep


def takes_long(problem: Problem) -> bool:
    """Whether burns of any craft on the ground take time: then folded-in ones no longer cost alike."""
    return any(c.start is None and c.craft.thrust_n is not None for c in problem.classes)
