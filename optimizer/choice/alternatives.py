"""Near alternatives of another kind: the best plan with one choice of the best one forbidden.

Each is found by solving again over options that were filtered before any pruning, since what the best plan beats is
left out of the catalogue itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from ...models.deadline import ENDED, OutOfTimeError, over, poll
from ...models.scenario import Aim
from ..catalogue.catalogue import Catalogue, restricted
from ..craft_plan import CraftPlan
from ..outcome import Plan
from ..problem.option_key import OptionKey, key
from ..problem.options import Options
from ..problem.restriction import Restriction
from ..routes import registry
from .objectives import Chosen, worth
from .selection import Selection

CRAFT_MAX = 6
"""Of larger rings only the costliest craft are asked for another side, route or number of revolutions."""


ROUNDS_MAX = 8
"""Where craft meet in each of so many choices, the next kind is asked for."""


Rank = tuple[tuple[float, ...], int]
"""What a choice is worth, and its number, which decides between those worth the same."""


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """A plan that differs from the best one in kind, and in words how."""

    chosen: Chosen
    kind: str


def alternatives(
    selection: Selection, best: Chosen, aims: Sequence[Aim], progress: Callable[[str], None] = lambda _: None
) -> tuple[Alternative, ...]:
    """The best plan of each other kind: slot order, side, revolutions, route or insertion; as many as time allows."""
    made = selection.made
    seen = {_signature(best.options)}
    rows = _worth_asking(best.options)
    # a catalogue is made when it is asked for: all of them at once are large
    asked: list[tuple[str, Callable[[], Catalogue]]] = [
        (kind, partial(restricted, made, restriction)) for kind, restriction in _kinds(made, best, rows)
    ]
    asked += [("other slot order", partial(_kept, made, wanted)) for wanted in _other_orders(made, best)]

    def ask(kind: str, among: Callable[[], Catalogue], *, flown: bool) -> Chosen | None:
        progress(f"alternatives: {kind}")
        poll()
        try:
            return selection.best(aims, catalogue=among(), ties="order", flown=flown, rounds_max=ROUNDS_MAX)
        except OutOfTimeError:
            if over():
                raise
            return None

    tried: list[Chosen | None] = []
    # where the search is ended, those found by then are worth showing
    with suppress(*ENDED):
        for kind, among in asked:
            tried.append(ask(kind, among, flown=False))
    ranks: dict[str, list[Rank]] = {}
    for number, ((kind, _), one) in enumerate(zip(asked, tried, strict=False)):
        if one is not None:
            ranks.setdefault(kind, []).append((worth(made, one, aims), number))

    def sound(number: int) -> tuple[Rank, Chosen] | None:
        kind, among = asked[number]
        one = tried[number]
        if one is not None and selection.flyer.plan(one.options).broken:
            one = ask(kind, among, flown=True)
        return None if one is None else ((worth(made, one, aims), number), one)

    found: dict[str, list[tuple[Rank, Chosen]]] = {kind: [] for kind in ranks}
    with suppress(*ENDED):
        # flown together; where one breaks a limit the next best that does not takes its place
        first = [tried[min(of_kind)[1]] for of_kind in ranks.values()]
        selection.flyer.fly([one.options for one in first if one is not None])
        for kind, of_kind in ranks.items():
            _add_sound(found[kind], sorted(of_kind), sound)
    best_of = [(min(own, key=lambda one: one[0]), kind) for kind, own in found.items() if own]
    kept = []
    for ((_, _), chosen), kind in sorted(best_of, key=lambda one: one[0][0][0]):
        signature = _signature(chosen.options)
        if signature not in seen:
            seen.add(signature)
            kept.append(Alternative(chosen=chosen, kind=kind))
    return tuple(kept)


def _add_sound(
    found: list[tuple[Rank, Chosen]], ranks: Sequence[Rank], sound: Callable[[int], tuple[Rank, Chosen] | None]
) -> None:
    """Look among choices of one kind, the best first, for one that keeps its limits in the flight.

    Those that cannot be better than what was found are not flown.
    """
    for rank in ranks:
        if any(one < rank for one, _ in found):
            return
        one = sound(rank[1])
        if one is not None:
            found.append(one)


def _worth_asking(options: Options) -> list[int]:
    """The costliest craft; of those launched alike (class, side, revolutions) only one, since
    others could swap with it, and only one of each carrier.
    """
    rows: list[int] = []
    seen: set[tuple[int, int, int]] = set()
    loads: set[int] = set()
    side = options.side
    for row in np.argsort(-options.delta_v_m_s, kind="stable").tolist():
        alike = (int(options.craft_class[row]), int(side[row]), int(options.revolutions[row]))
        if options.pad[row] >= 0 and alike in seen:
            continue
        if options.bundle[row] >= 0 and options.bundle[row] in loads:
            continue
        loads.add(int(options.bundle[row]))
        seen.add(alike)
        rows.append(row)
    return rows[:CRAFT_MAX]


def _signature(options: Options) -> frozenset[OptionKey]:
    return frozenset(key(options, row) for row in range(len(options)))


def _kinds(made: Catalogue, best: Chosen, rows: list[int]) -> list[tuple[str, Restriction]]:
    """For each craft examined, what is forbidden at its slot: the side, the revolutions, the route, the insertion."""
    options = best.options
    limits = made.problem.scenario.limits
    kinds: list[tuple[str, Restriction]] = []
    sides = options.side
    for row in rows:
        slot = frozenset({int(options.slot[row])})
        side, revolutions = int(sides[row]), int(options.revolutions[row])
        if side != 0:
            kinds.append(("other side", Restriction(slots=slot, sides=frozenset({-1, 0, 1}) - {side})))
            rest = frozenset(range(limits.revolutions_max + 1)) - {revolutions}
            kinds.append(("other revolutions", Restriction(slots=slot, revolutions=rest)))
        elif options.pad[row] >= 0:
            kinds.append(("with phasing", Restriction(slots=slot, sides=frozenset({-1, 1}))))
        way = int(options.way[row])
        if way < 0:
            continue
        routes = {route.name for w in made.problem.ways for _, route in registry.lifting(w)}
        routes |= {"carrier"} if made.problem.aboard else set()
        if len(routes) > 1:
            other = registry.names() - {registry.name_of(options, row)}
            kinds.append(("other route", Restriction(slots=slot, routes=other)))
        own = made.problem.ways[way]
        others = [(index, w) for index, w in enumerate(made.problem.ways) if w.plane == own.plane]
        inserted = frozenset(i for i, w in others if (w.pad, w.insertion) != (own.pad, own.insertion))
        if len(inserted) > 0 and len({(w.pad, w.insertion) for _, w in others}) > len(routes):
            kinds.append(("other insertion", Restriction(slots=slot, ways=inserted)))
        passing = frozenset(i for i, w in others if w.ascending != own.ascending)
        if own.place is not None and passing:
            kinds.append(("other direction", Restriction(slots=slot, ways=passing)))
    return kinds


Wanted = Callable[[Options], NDArray[np.bool_]]


def _kept(made: Catalogue, wanted: Wanted) -> Catalogue:
    """The catalogue with the options that are wanted."""
    return replace(made, options=made.options.take(wanted(made.options)), wanted=wanted)


def _other_orders(made: Catalogue, best: Chosen) -> list[Wanted]:
    """Masks of options with which another craft takes a slot: another class, or another turn on the pad."""
    options = best.options
    found: list[Wanted] = []
    for row in range(min(len(options), CRAFT_MAX)):
        slot, index, liftoff = int(options.slot[row]), int(options.craft_class[row]), float(options.liftoff_s[row])
        until = np.inf
        if np.isnan(liftoff):
            if len(made.problem.classes) < 2:
                continue
        else:
            later = options.liftoff_s[options.liftoff_s > liftoff]
            if not later.size:
                continue
            until = later.min() - 1.0

        def wanted(base: Options, slot: int = slot, index: int = index, until: float = until) -> NDArray[np.bool_]:
            early = np.isnan(base.liftoff_s) | (base.liftoff_s < until)
            return base.whole(~((base.slot == slot) & (base.craft_class == index) & early))

        found.append(wanted)
    return found


def relabeled(plans: Sequence[Plan]) -> tuple[Plan, ...]:
    """Ranked plans, each label true of it against plan 1.

    Labels were given against the best choice of the catalogue, and the flight may put another plan first.
    """
    first = plans[0]
    return (first, *(replace(plan, kind=_kind_against(plan, first)) for plan in plans[1:]))


def _kind_against(plan: Plan, first: Plan) -> str | None:
    """The plan's own label where it differs from the first in that, else the first of the others that holds."""
    if plan.kind not in _DIFFERS:
        return plan.kind
    before = {part.craft: part for part in first.craft}
    pairs = [(part, before[part.craft]) for part in plan.craft if part.craft in before]
    holds = [kind for kind, differs in _DIFFERS.items() if any(differs(a, b) for a, b in pairs)]
    return plan.kind if plan.kind in holds else holds[0] if holds else "other moments"


def _direction(part: CraftPlan) -> bool | None:
    return None if part.heading is None else part.heading.ascending


_DIFFERS: dict[str, Callable[[CraftPlan, CraftPlan], bool]] = {
    "other route": lambda a, b: a.route != b.route,
    "other insertion": lambda a, b: (a.pad, a.insertion) != (b.pad, b.insertion),
    "other direction": lambda a, b: _direction(a) != _direction(b),
    "with phasing": lambda a, b: a.side != "level" and b.side == "level",
    "other side": lambda a, b: a.side != b.side,
    "other revolutions": lambda a, b: a.revolutions != b.revolutions,
    "other slot order": lambda a, b: (a.plane, a.slot) != (b.plane, b.slot),
}
"""What each label says of one craft at least, against what it does in plan 1; the plainest difference first."""
