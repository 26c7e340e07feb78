"""A loop of asserts over nothing asserts nothing: what is looped over is written out, or an assert says it is there."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

FOLDER = Path(__file__).parent
PASSED_ON = {"enumerate", "sorted", "reversed", "list", "tuple", "set", "zip", "pairwise", "combinations"}
PASSED_ON |= {"items", "values", "keys", "iterrows"}
"""Calls that give something wherever their first argument, or what they are a method of, has something."""
NEVER_EMPTY = {"range", "linspace", "arange", "product", "geomspace", "logspace", "split", "body_names"}
"""Calls whose arguments stand in the test, so that what they give is seen there; a split gives one piece or more."""
PARTS = (".craft", "['craft']", "burns", "burns']", "._actions", ".option_strings", ".axes", ".texts", "['drops']")
"""What always has something: a plan without craft is none, and a scenario without craft is refused. Of craft without
burns and figures without words nothing is said here; that there are some is asserted of the plan and of the figure."""


def _source(node: ast.expr) -> ast.expr:
    """What a loop draws from in the end: ``x`` of ``enumerate(sorted(x.items()))``."""
    while isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in PASSED_ON and node.args:
            node = node.args[0]
        elif name in PASSED_ON and isinstance(node.func, ast.Attribute):
            node = node.func.value
        else:
            return node
    return _source(node.generators[0].iter) if isinstance(node, ast.GeneratorExp) else node


def _written_out(node: ast.expr, constants: set[str]) -> bool:
    """Whether what is looped over can be seen not to be empty: literals, constants of a module, ranges."""
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return bool(node.elts)
    if isinstance(node, ast.Dict):
        return bool(node.keys)
    if isinstance(node, ast.Constant):
        return bool(node.value)
    if isinstance(node, ast.Name):
        return node.id in constants or node.id.strip("_").isupper()
    if isinstance(node, ast.IfExp):
        return _written_out(node.body, constants) and _written_out(node.orelse, constants)
    if isinstance(node, ast.BinOp):
        return _written_out(node.left, constants) or _written_out(node.right, constants)
    if isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        return name in NEVER_EMPTY
    return False


def _literals(function: ast.AST) -> set[str]:
    """Names that are given a literal with something in it."""
    return {
        target.id
        for node in ast.walk(function)
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Tuple | ast.List | ast.Set | ast.Dict)
        for target in node.targets
        if isinstance(target, ast.Name) and _written_out(node.value, set())
    }


def _only_asserts(body: list[ast.stmt]) -> bool:
    """Whether a loop's body has asserts, and nothing that is seen after it."""
    inner = [node for statement in body for node in ast.walk(statement)]
    if not any(isinstance(node, ast.Assert) for node in inner):
        return False
    return not any(isinstance(node, ast.AugAssign | ast.Return | ast.Yield) for node in inner) and all(
        isinstance(node, ast.Assert | ast.Assign | ast.AnnAssign | ast.If | ast.For | ast.With | ast.Continue)
        for node in inner
        if isinstance(node, ast.stmt)
    )


def _looked_at(function: ast.AST, loop: ast.For) -> set[str]:
    """Every expression that stands in an assert outside the loop, or that is unpacked, as its source."""
    inside = {id(node) for node in ast.walk(loop)}
    found: set[str] = set()
    for node in ast.walk(function):
        if id(node) in inside:
            continue
        if isinstance(node, ast.Assert):
            found |= {ast.unparse(part) for part in ast.walk(node) if isinstance(part, ast.expr)}
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.List | ast.Tuple):
            found.add(ast.unparse(node.value))
    return found


def empty_loops(text: str) -> Iterator[tuple[int, str]]:
    """Line and source of each loop of asserts that would pass over nothing unseen."""
    tree = ast.parse(text)
    constants = {
        target.id
        for statement in tree.body
        if isinstance(statement, ast.Assign)
        for target in statement.targets
        if isinstance(target, ast.Name)
    }
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]
    for function in functions:
        seen = constants | _literals(function)
        loops = [node for node in ast.walk(function) if isinstance(node, ast.For) and _only_asserts(node.body)]
        for loop in loops:
            source = _source(loop.iter)
            words = ast.unparse(source)
            if _written_out(source, seen) or words.endswith(PARTS) or words in _looked_at(function, loop):
                continue
            yield loop.lineno, words


def test_no_loop_of_asserts_passes_over_nothing() -> None:
    found = [
        f"{path.relative_to(FOLDER)}:{line}: assert that there is something in {words}"
        for path in sorted(FOLDER.rglob("test_*.py"))
        for line, words in empty_loops(path.read_text(encoding="utf-8"))
    ]
    assert not found, "\n".join(found)


def test_a_loop_over_nothing_is_seen() -> None:
    loop = "def test_it():\n    {before}\n    for one in {what}:\n        assert one > 0\n"
    assert list(empty_loops(loop.format(before="found = f()", what="enumerate(found)"))) == [(3, "found")]
    assert not list(empty_loops(loop.format(before="assert len(found) == 2", what="sorted(found)")))
    assert not list(empty_loops(loop.format(before="[found] = f()", what="(1, 2)")))
    assert list(empty_loops(loop.format(before="pass", what="[]"))) == [(3, "[]")]
