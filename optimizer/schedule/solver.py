"""The only module that knows PuLP and HiGHS: mixed-integer programs, and linear ones that grow between runs.

One status vocabulary for every release of PuLP and HiGHS:

=============  =========================================================================
``optimal``    the values are a plan, and none is better by more than the tolerance
``bounded``    the values are a plan; time ran out before ``bound`` could meet its cost
``infeasible`` proved that no plan exists
``failed``     time ran out, or the solver gave up, before any plan was found
=============  =========================================================================

The status is read from HiGHS itself, since PuLP 3.3 calls a plan found before a time limit "Optimal". Only calls that
PuLP 3.3 and PuLP 4 both have are used, the sense is always to minimize, and nothing is written to standard output.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.intp]
Indices = npt.NDArray[np.integer]
Status = Literal["optimal", "bounded", "infeasible", "failed"]

DUAL, PRIMAL = 1, 4
"""HiGHS's numbers for its simplex strategies."""

INTEGER_TOLERANCE = 1e-6
"""How far from a whole number HiGHS may leave a variable; values handed back are rounded."""


@dataclass(frozen=True, kw_only=True)
class Program:
    """Minimize ``cost @ x`` with ``lower <= A @ x <= upper``, each x in {0, 1} or, where not ``whole``, in [0, inf).

    Attributes:
        cost: (n,) cost of each variable.
        row, column, value: (k,) the entries of A; an entry given twice counts twice.
        lower, upper: (m,) ends of the rows; -inf and inf where a row has only one end.
        whole: (n,) which variables are binary; None means all.
    """

    cost: Floats
    row: Integers
    column: Integers
    value: Floats
    lower: Floats
    upper: Floats
    whole: npt.NDArray[np.bool_] | None = None


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What was found and what was proved about a :class:`Program`.

    ``value`` (n,) is empty unless the status is ``optimal`` or ``bounded``; ``objective`` is inf without values;
    ``bound`` is the proved lower bound of the cost (inf if infeasible, -inf if nothing was proved).
    """

    status: Status
    value: Floats
    objective: float
    bound: float


def solve_program(program: Program, *, time_limit_s: float | None = None, tolerance: float = 1e-7) -> Answer:
    """Solve a mixed-integer program to proved optimality, or as far as the time allows.

    Args:
        program: the program.
        time_limit_s: seconds that HiGHS may take; None for no limit. With a limit the answer depends on the machine.
        tolerance: absolute gap, in units of the cost, at which a plan counts as optimal.

    Example: the cheaper of two ways to serve one row.

    >>> one = np.zeros(2, dtype=np.intp)
    >>> solve_program(Program(cost=np.array([5.0, 3.0]), row=one, column=np.arange(2), value=np.ones(2),
    ...                       lower=np.ones(1), upper=np.ones(1))).value
    array([0., 1.])
    """
    import pulp

    whole = np.ones(program.cost.size, dtype=bool) if program.whole is None else program.whole
    empty = np.bincount(program.row, minlength=program.lower.size) == 0
    if np.any(empty & ((program.lower > INTEGER_TOLERANCE) | (program.upper < -INTEGER_TOLERANCE))):
        return Answer(status="infeasible", value=np.empty(0), objective=np.inf, bound=np.inf)
    if program.cost.size == 0:
        return Answer(status="optimal", value=np.empty(0), objective=0.0, bound=0.0)
    model, variables = _model(program, whole)
    options: dict[str, Any] = {} if time_limit_s is None else {"timeLimit": max(float(time_limit_s), 0.01)}
    model.solve(
        pulp.HiGHS(
            msg=False,
            threads=1,
            gapRel=0.0,
            gapAbs=tolerance,
            output_flag=False,
            mip_feasibility_tolerance=INTEGER_TOLERANCE,
            **options,
        )
    )
    return _answer(model.solverModel, [v.varValue for v in variables], program.cost, whole)


def _model(program: Program, whole: npt.NDArray[np.bool_]) -> tuple[Any, list[Any]]:
    """A program for PuLP, and its variables in order."""
    import pulp

    model = pulp.LpProblem("schedule", pulp.LpMinimize)
    variables = [
        model.add_variable(f"x{i:06d}", 0, 1 if w else None, "Integer" if w else "Continuous")
        for i, w in enumerate(whole.tolist())
    ]
    # a variable without a price would be unknown to PuLP 3.3 if no row named it either
    model.setObjective(pulp.lpSum([c * v for v, c in zip(variables, program.cost.tolist(), strict=True)]))
    order = np.argsort(program.row, kind="stable")
    ends = np.searchsorted(program.row[order], np.arange(program.lower.size + 1)).tolist()
    columns, values = program.column[order].tolist(), program.value[order].tolist()
    for i, (low, high) in enumerate(zip(program.lower.tolist(), program.upper.tolist(), strict=True)):
        if ends[i] == ends[i + 1]:
            continue
        entries = zip(columns[ends[i] : ends[i + 1]], values[ends[i] : ends[i + 1]], strict=True)
        total = pulp.lpSum([variables[j] if a == 1.0 else a * variables[j] for j, a in entries])
        if low == high:
            model.addConstraint(total == low)
            continue
        if np.isfinite(high):
            model.addConstraint(total <= high)
        if np.isfinite(low):
            model.addConstraint(total >= low)
    return model, variables


def _answer(highs: Any, found: list[float | None], cost: Floats, whole: npt.NDArray[np.bool_]) -> Answer:
    import highspy

    status = highs.getModelStatus()
    if status in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kUnboundedOrInfeasible):
        return Answer(status="infeasible", value=np.empty(0), objective=np.inf, bound=np.inf)
    info = highs.getInfo()
    bound = float(info.mip_dual_bound) if whole.any() else float(info.objective_function_value)
    if info.primal_solution_status != 2 or status in (
        highspy.HighsModelStatus.kLoadError,
        highspy.HighsModelStatus.kModelError,
        highspy.HighsModelStatus.kPresolveError,
        highspy.HighsModelStatus.kSolveError,
        highspy.HighsModelStatus.kPostsolveError,
    ):
        return Answer(status="failed", value=np.empty(0), objective=np.inf, bound=bound)
    value = np.array([0.0 if v is None else v for v in found])
    value = np.where(whole, np.round(value), value)
    objective = float(cost @ value)
    optimal = status == highspy.HighsModelStatus.kOptimal
    return Answer(
        status="optimal" if optimal else "bounded", value=value, objective=objective, bound=min(bound, objective)
    )


class GrowingProgram:
    """A linear program, x >= 0, that grows in place and keeps its basis from one run to the next.

    Args:
        primal: the primal simplex rather than the dual.
    """

    def __init__(self, *, primal: bool) -> None:
        import highspy

        self._highs = highspy.Highs()  # type: ignore[no-untyped-call]
        for name, value in (
            ("output_flag", False),
            ("threads", 1),
            ("presolve", "off"),
            ("solver", "simplex"),
            ("simplex_strategy", PRIMAL if primal else DUAL),
            ("primal_feasibility_tolerance", 1e-9),
            ("dual_feasibility_tolerance", 1e-9),
        ):
            self._highs.setOptionValue(name, value)
        self._optimal = highspy.HighsModelStatus.kOptimal

    def add_rows(self, lower: Floats, upper: Floats, start: Indices, column: Indices, value: Floats) -> None:
        """Add rows: their ends, where in the entries each row's begin, and the entries."""
        at = start.astype(np.int32), column.astype(np.int32)
        self._highs.addRows(lower.size, lower, upper, value.size, *at, value)

    def add_columns(self, cost: Floats, start: Indices, row: Indices, value: Floats) -> None:
        """Add columns from zero up: their costs, where in the entries each column's begin, and the entries."""
        at = start.astype(np.int32), row.astype(np.int32)
        self._highs.addCols(cost.size, cost, np.zeros(cost.size), np.full(cost.size, np.inf), value.size, *at, value)

    def set_costs(self, cost: Floats) -> None:
        """Change the costs of all columns."""
        self._highs.changeColsCost(cost.size, np.arange(cost.size, dtype=np.int32), cost)

    def set_bounds(self, first: int, lower: Floats, upper: Floats) -> None:
        """Change the bounds of the columns from ``first`` on."""
        position = np.arange(first, first + lower.size, dtype=np.int32)
        self._highs.changeColsBounds(lower.size, position, lower, upper)

    def run(self, left_s: float) -> tuple[bool, Floats, Floats, float, int]:
        """Solve in the time left: whether it is solved, the columns' values, the rows' prices, the cost, the steps."""
        if left_s < np.inf:
            self._highs.setOptionValue("time_limit", self._highs.getRunTime() + max(left_s, 0.01))
        self._highs.run()
        solution = self._highs.getSolution()
        return (
            self._highs.getModelStatus() == self._optimal,
            np.array(solution.col_value),
            np.array(solution.row_dual),
            self._highs.getInfo().objective_function_value,
            max(int(self._highs.getInfo().simplex_iteration_count), 0),
        )
