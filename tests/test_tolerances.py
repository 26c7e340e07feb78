"""A tolerance that has a name is written by its name; those of printed values are the last digit of their source."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from ringwright.tests import tolerances

FOLDER = Path(__file__).parent
UNITS = {"m_s": r"_m_s\b", "deg": r"_deg\b|degrees\(", "rad": r"_rad\b", "s": r"_s\b"}


def _unit(text: str) -> str:
    """The unit of a comparison, by the names in it."""
    text = re.sub(r"radians\([^()]*\)", "an_angle_rad", text)
    return next((unit for unit, pattern in UNITS.items() if re.search(pattern, text)), "")


def _name(unit: str, written: ast.Constant) -> str | None:
    """The name of a tolerance as written in that unit, where it has one."""
    value = written.value
    return tolerances.BY_UNIT.get(unit, {}).get(value) if isinstance(value, float) else None


def bare(text: str) -> Iterator[tuple[int, int, str, str]]:
    """Line, column and value, as written, of tolerances that have a name and are not written by it; and the name."""
    tree = ast.parse(text)
    for statement in ast.walk(tree):
        if not isinstance(statement, ast.Compare):
            continue
        words = ast.unparse(statement)
        for call in ast.walk(statement):
            if not isinstance(call, ast.Call):
                continue
            for given in call.keywords:
                if given.arg in ("abs", "rel") and isinstance(given.value, ast.Constant):
                    unit = "rel" if given.arg == "rel" else _unit(words)
                    name = _name(unit, given.value)
                    if name is not None:
                        yield given.value.lineno, given.value.col_offset, ast.unparse(given.value), name
        # |x| < tolerance
        [last, *_] = reversed(statement.comparators)
        if isinstance(statement.ops[-1], ast.Lt) and isinstance(last, ast.Constant) and "abs(" in words:
            name = _name(_unit(words), last)
            if name is not None:
                yield last.lineno, last.col_offset, ast.unparse(last), name


def test_named_tolerances_are_written_by_name() -> None:
    found = {
        f"{path.relative_to(FOLDER)}:{line}: write {name} for {value}"
        for path in sorted(FOLDER.rglob("test_*.py"))
        if path.parent.name != "published"
        for line, _, value, name in bare(path.read_text(encoding="utf-8"))
    }
    assert not found, "\n".join(sorted(found))


def test_a_bare_one_is_found() -> None:
    assert [name for *_, name in bare("assert a_m_s == approx(b, abs=1e-6)")] == ["WRITTEN_M_S"]
    assert [name for *_, name in bare("assert abs(item['slot_error_deg']) < 1e-3")] == ["SLOT_DEG"]
    assert [name for *_, name in bare("assert a == approx(b, rel=1e-12)")] == ["CHAIN_REL"]
    assert not list(bare("assert a_m_s == approx(b, abs=WRITTEN_M_S)"))


def test_every_name_has_a_value_and_a_reason() -> None:
    text = Path(tolerances.__file__).read_text(encoding="utf-8")
    names = [(value, name) for table in tolerances.BY_UNIT.values() for value, name in table.items()]
    assert len(names) > 15
    for value, name in names:
        assert getattr(tolerances, name) == value
        assert re.search(rf'^{name} = \S+\n"""\S', text, flags=re.MULTILINE)
