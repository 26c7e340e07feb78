"""How near two numbers have to be is written by a name that has its reason.

Published checks have the last digit of their source instead, beside the value as it is printed there.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from ringwright.tests import tolerances

FOLDER = Path(__file__).parent
GIVEN = ("abs", "rel", "atol", "rtol", "abs_tol", "rel_tol")
"""Arguments that are tolerances of what compares."""
COMPARE = ("approx", "allclose", "isclose", "assert_allclose")
"""What compares; tolerances of an integrator say how exact the other road is, not how near both have to be."""
NAME = re.compile(r"\b[A-Z][A-Z0-9_]+\b|\btolerance_")
"""Of a constant, or a tolerance that a scenario states."""


def bare(text: str) -> Iterator[tuple[int, str]]:
    """Line and tolerance, as written, wherever a number stands in one without a constant beside it."""
    tree = ast.parse(text)
    for call in (node for node in ast.walk(tree) if isinstance(node, ast.Call)):
        if re.split(r"\W", ast.unparse(call.func))[-1] in COMPARE:
            yield from _numbers(*(given.value for given in call.keywords if given.arg in GIVEN))
    for statement in (node for node in ast.walk(tree) if isinstance(node, ast.Assert)):
        for test in (node for node in ast.walk(statement) if isinstance(node, ast.Compare)):
            sides = [test.left, *test.comparators]
            for one, sign, other in zip(sides, test.ops, sides[1:], strict=False):
                small, large = (one, other) if isinstance(sign, ast.Lt | ast.LtE) else (other, one)
                if isinstance(sign, ast.Lt | ast.LtE | ast.Gt | ast.GtE) and _is_distance(small):
                    yield from _numbers(large)


def _is_distance(side: ast.expr) -> bool:
    """Whether this is how far two numbers are apart: the size of something, or the largest or the middle of sizes."""
    while isinstance(side, ast.Call) and side.args and not _calls(side, "abs", "norm"):
        side = side.args[0]
        if isinstance(side, ast.Attribute):
            side = side.value
    if isinstance(side, ast.Call) and isinstance(side.func, ast.Attribute) and not side.args:
        # np.abs(a - b).max()
        return _is_distance(side.func.value)
    return isinstance(side, ast.Call) and _calls(side, "abs", "norm")


def _calls(side: ast.Call, *names: str) -> bool:
    return re.split(r"\W", ast.unparse(side.func))[-1] in names


def _numbers(*given: ast.expr) -> Iterator[tuple[int, str]]:
    """Those in which a number other than zero stands, and no constant."""
    for one in given:
        places = {
            id(part) for node in ast.walk(one) if isinstance(node, ast.Subscript) for part in ast.walk(node.slice)
        }
        numbers = [node.value for node in ast.walk(one) if isinstance(node, ast.Constant) and id(node) not in places]
        if any(isinstance(value, float | int) and value for value in numbers) and not NAME.search(ast.unparse(one)):
            yield one.lineno, ast.unparse(one)


def _named() -> dict[str, float]:
    """The tolerances that tests share."""
    return {name: value for name, value in vars(tolerances).items() if name.isupper()}


def test_no_tolerance_is_a_bare_number() -> None:
    alike: dict[str, list[str]] = {}
    for name, value in _named().items():
        alike.setdefault(repr(value), []).append(name)
    found = {
        f"{path.relative_to(FOLDER)}:{line}: {written}; tolerances.py has {', '.join(alike.get(written, ['none']))}"
        for path in sorted(FOLDER.rglob("*.py"))
        if path.parent.name != "published" and path != Path(__file__)
        for line, written in bare(path.read_text(encoding="utf-8"))
    }
    assert not found, "\n".join(sorted(found))


@pytest.mark.parametrize(
    "text",
    [
        "assert a == approx(b, abs=1e-6)",
        "assert a == pytest.approx(b, rel=FLOAT_REL, abs=0.5)",
        "assert np.allclose(a, b, atol=1e-3 * scale)",
        "assert abs(item['slot_error_deg']) < 1e-3",
        "assert 1e-3 >= math.degrees(abs(error_rad))",
        "assert np.abs(a - b).max() < 0.01 * scale",
        "assert all(np.linalg.norm(a - b) < 1.0 for a, b in pairs)",
    ],
)
def test_a_bare_one_is_found(text: str) -> None:
    assert len(list(bare(text))) == 1


@pytest.mark.parametrize(
    "text",
    [
        "assert a_m_s == approx(b, rel=0.0, abs=WRITTEN_M_S)",
        "assert abs(a - b) < 10.0 * DEMAND_RAD",
        "assert abs(a - b) <= tolerance_rad",
        "assert 0.5 < abs(a - b)",
        "assert a < 0.1",
        "solve_ivp(slope, span, state, rtol=1e-12, atol=1e-9)",
    ],
)
def test_named_ones_and_other_numbers_are_left_alone(text: str) -> None:
    assert not list(bare(text))


def test_every_name_has_a_reason() -> None:
    text = Path(tolerances.__file__).read_text(encoding="utf-8")
    assert len(_named()) > 50
    for name, value in _named().items():
        assert isinstance(value, float)
        assert re.search(rf'^{name} = \S+\n"""\S', text, flags=re.MULTILINE), name
