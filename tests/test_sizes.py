"""Functions fit on a screen and modules stay with one subject: few lines."""

from __future__ import annotations

import ast
from pathlib import Path

import ringwright

ROOT = Path(ringwright.__file__).parent
ROOMS = ("models", "optimizer", "reports")
FUNCTION_MAX = 60
MODULE_MAX = 400


def _sizes() -> dict[str, tuple[int, int]]:
    """Lines and the most allowed of every module, and of every function by module and name."""
    found = {}
    for path in [*ROOT.glob("*.py"), *(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))]:
        name, text = path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")
        found[name] = (len(text.splitlines()), MODULE_MAX)
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or node.lineno) - node.lineno + 1
                before = found.get(f"{name}:{node.name}", (0, 0))[0]
                found[f"{name}:{node.name}"] = (max(before, lines), FUNCTION_MAX)
    return found


def test_functions_and_modules_are_short() -> None:
    sizes = _sizes()
    assert len(sizes) > 500
    assert {name: lines for name, (lines, most) in sizes.items() if lines > most} == {}
