"""A first plan, quickly: craft are served in turn, dense pads first; a heuristic that proves nothing."""

from __future__ import annotations

import numpy as np

from ...models.deadline import past
from .columns import Bool, I
from .presolve import Packed

MANY_ROWS = 64
"""Above these, more attempts are made, and plans are improved one craft at a time: the relaxation takes long there."""
EJECTIONS = 40
"""Most craft already served that are asked to move for one that found nothing free."""


def serve_in_turn(
    packed: Packed, deadline_s: float | None = None, barred: Bool | None = None, preferred: I | None = None
) -> tuple[I, bool]:
    """Serve row by row what is cheapest, then earliest; whether all craft are served. Earliest first packs the pads.

    Rows are the slots, or the classes where slots stay free. Those with the fewest cheapest columns come first; then,
    again and again, those that were left out or dear the last time (Joslin and Clements 1999). Who finds nothing free
    takes the place of one craft that can go elsewhere.

    Args:
        packed: the problem. Where columns serve several pairs or there are extra rows, nothing is tried.
        deadline_s: reading of ``time.monotonic`` after which no further attempt is made.
        barred: (n,) columns that may not be used.
        preferred: columns to be chosen before all others, as far as they fit together; one attempt only.
    """
    n = packed.cost.size
    if packed.more_column.size or packed.side_limit.size or n == 0:
        return np.empty(0, dtype=np.intp), n == 0
    turn = _Turn(packed, barred)
    urgency = -turn.cheapest.astype(float)
    best: list[int] = []
    reward = (-1, 0.0)
    attempts = 1 if preferred is not None else 3 if turn.rows <= MANY_ROWS else 8
    for attempt in range(attempts):
        turn.clear()
        turn.place_all(preferred)
        missed = np.zeros(turn.rows)
        for row in np.argsort(-urgency, kind="stable").tolist():
            for _ in range(turn.wanted[row] - turn.served(row)):
                position = turn.best_free(row)
                if position < 0 and not turn.make_room(row):
                    missed[row] = np.inf
                    break
                if position >= 0:
                    turn.place(position)
                    missed[row] += turn.excess[position]
        if turn.rows > MANY_ROWS and not np.isinf(missed).any():
            turn.improve()
        found = turn.columns()
        cost = float(packed.cost[found].sum())
        if (len(found), -cost) > reward:
            best, reward = found, (len(found), -cost)
        if not missed.any() or past(deadline_s):
            break
        floor = urgency.max()
        dear = (missed > 0) & np.isfinite(missed)
        urgency[dear] = floor + missed[dear] / missed[dear].max(initial=1e-300)
        urgency[np.isinf(missed)] = floor + 2.0 + attempt
    return np.array(best, dtype=np.intp), len(best) == int(packed.count.sum())


class _Turn:
    """Who has been served so far, by position in the columns sorted by row."""

    def __init__(self, packed: Packed, barred: Bool | None) -> None:
        self.packed = packed
        slots = packed.slots
        full = int(packed.count.sum()) == slots
        of_row = packed.key % slots if full else packed.key // slots
        self.rows = slots if full else packed.count.size
        self.wanted = [1] * slots if full else packed.count.tolist()
        order = np.argsort(of_row, kind="stable")
        self.order = order if barred is None else order[~barred[order]]
        self.row = of_row[self.order]
        self.ends = np.searchsorted(self.row, np.arange(self.rows + 1)).tolist()
        self.moment, self.cost = packed.moment[self.order], packed.cost[self.order]
        self.slot, self.kind = packed.key[self.order] % slots, packed.key[self.order] // slots
        least = np.full(self.rows, np.inf)
        np.minimum.at(least, self.row, self.cost)
        self.excess = self.cost - least[self.row]
        self.cheapest = np.bincount(self.row[self.excess <= 1e-9 * self.cost], minlength=self.rows)
        self.groups: dict[int, list[int]] = {}
        for group in range(packed.group_start.size):
            for column in packed.members(group).tolist():
                self.groups.setdefault(column, []).append(group)
        self.clear()

    def clear(self) -> None:
        """Nobody is served."""
        self.blocked = np.zeros(self.packed.moments + 1, dtype=np.int32)
        self.taken = np.zeros(self.packed.slots, dtype=bool)
        self.left = self.packed.count.copy()
        self.excluded = np.zeros(self.packed.cost.size, dtype=bool)
        self.excluding = False
        self.placed: dict[int, None] = {}
        self.count = np.zeros(self.rows, dtype=np.int32)

    def place_all(self, columns: I | None) -> None:
        """Choose columns one after the other, as far as they fit together."""
        if columns is None:
            return
        position = np.empty(self.packed.cost.size, dtype=np.intp)
        position[self.order] = np.arange(self.order.size)
        for p in position[columns].tolist():
            free = self.blocked[self.moment[p]] == 0 and not self.taken[self.slot[p]] and self.left[self.kind[p]] > 0
            if free and not self.excluded[self.order[p]]:
                self.place(p)

    def served(self, row: int) -> int:
        """How many craft of the row are served."""
        return int(self.count[row])

    def columns(self) -> list[int]:
        """The columns chosen so far."""
        return [int(self.order[p]) for p in self.placed]

    def best_free(self, row: int) -> int:
        """Position of the row's cheapest, then earliest column that nothing forbids; -1 for none."""
        at = slice(self.ends[row], self.ends[row + 1])
        free = self.blocked[self.moment[at]] == 0
        free &= ~self.taken[self.slot[at]]
        free &= self.left[self.kind[at]] > 0
        if self.excluding:
            free &= ~self.excluded[self.order[at]]
        found = np.flatnonzero(free) + at.start
        if found.size == 0:
            return -1
        cost = self.cost[found]
        found = found[cost <= cost.min()]
        return int(found[np.argmin(self.moment[found])])

    def place(self, position: int, sign: int = 1) -> None:
        """Choose a column; with -1 take it back."""
        moment = int(self.moment[position])
        if moment < self.packed.moments:
            self.blocked[self.packed.first[moment] : self.packed.last[moment]] += sign
        self.taken[self.slot[position]] = sign > 0
        self.left[self.kind[position]] -= sign
        self.count[self.row[position]] += sign
        if sign > 0:
            self.placed[position] = None
            for group in self.groups.get(int(self.order[position]), ()):
                self.excluded[self.packed.members(group)] = True
                self.excluding = True
        else:
            del self.placed[position]

    def make_room(self, row: int, most: float = np.inf) -> bool:
        """Serve a row by moving one craft whose liftoff alone stands in the way; whether that was possible.

        Args:
            row: the row.
            most: what the row's column and the move may cost together.
        """
        if self.groups:
            # what one column excludes others may exclude as well: taking it back would need a count
            return False
        at = slice(self.ends[row], self.ends[row + 1])
        wish = self.blocked[self.moment[at]] == 1
        wish &= ~self.taken[self.slot[at]]
        wish &= self.left[self.kind[at]] > 0
        wish &= self.cost[at] < most
        wishes = np.flatnonzero(wish) + at.start
        if wishes.size == 0:
            return False
        wishes = wishes[np.argsort(self.cost[wishes], kind="stable")]
        placed = np.array(list(self.placed))
        placed = placed[np.argsort(self.moment[placed], kind="stable")]
        lone = np.searchsorted(self.moment[placed], self.packed.first[self.moment[wishes]])
        _, each = np.unique(lone, return_index=True)
        for i in np.sort(each)[:EJECTIONS].tolist():
            mover, position = int(placed[lone[i]]), int(wishes[i])
            self.place(mover, -1)
            self.place(position)
            other = self.best_free(int(self.row[mover]))
            if other >= 0 and self.cost[position] + self.cost[other] - self.cost[mover] < most:
                self.place(other)
                return True
            self.place(position, -1)
            self.place(mover)
        return False

    def improve(self) -> None:
        """Once for each craft that is served dearly: a cheaper column, at the price of moving one other at most."""
        dear = [p for p in self.placed if self.excess[p] > 0]
        for p in sorted(dear, key=lambda p: -float(self.excess[p])):
            if p not in self.placed:
                continue
            cost = float(self.cost[p]) * (1.0 - 1e-12)
            self.place(p, -1)
            free = self.best_free(int(self.row[p]))
            if free >= 0 and self.cost[free] < cost:
                self.place(free)
            elif not self.make_room(int(self.row[p]), cost):
                self.place(p)
