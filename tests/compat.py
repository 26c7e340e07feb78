"""Run the core of the tests with the lowest versions that pyproject.toml allows, and with the newest there are.

    python tests/compat.py

The lowest on Python 3.11, the newest on 3.11 and on the newest Python that this machine has, each in an environment of
its own that is removed afterwards. Needs a package index. A run takes about a minute of processor time.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
OLDEST = (3, 11)
TEST_TOOLS = ("pytest>=8", "hypothesis>=6.100", "jsonschema>=4.18", "de421==2008.1", "jplephem>=2.17")
CORE = (
    "tests/optimizer/schedule/test_solver.py",
    "tests/optimizer/schedule/test_schedule.py",
    "tests/optimizer/studies/test_sweep.py",
    "tests/optimizer/rendezvous/test_optimum.py",
    "tests/models",
    "tests/published",
    "tests/reports/test_figures.py",
    "tests/reports/test_tables.py",
    "tests/reports/sheet/test_sheet.py",
    "tests/reports/test_result.py",
    "tests/test_golden.py",
    "tests/test_cli.py",
)
"""Every dependency at work: the solver, the sweep, tables, figures, sheets, element sets, the flight."""


def dependencies() -> list[str]:
    """What the package needs to run, as pyproject.toml says it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return list(project["dependencies"])


def lowest(requirements: list[str]) -> list[str]:
    """Pin each requirement to its lower bound, which has to be a release that exists.

    Raises:
        ValueError: a requirement without a lower bound.

    >>> lowest(["numpy>=1.26", "highspy>=1.7.1,!=1.16.0"])
    ['numpy==1.26', 'highspy==1.7.1']
    """
    pins = []
    for text in requirements:
        one = Requirement(text)
        bounds = [clause.version for clause in one.specifier if clause.operator == ">="]
        if len(bounds) != 1:
            raise ValueError(f"{text}: give one lower bound, as in {one.name}>=1.0")
        pins.append(f"{one.name}=={bounds[0]}")
    return pins


def pythons() -> dict[tuple[int, int], str]:
    """Interpreters on this machine from 3.11 on, by version: on the path, and those of pyenv."""
    here = sys.version_info[:2]
    found = {here: sys.executable}
    for minor in range(OLDEST[1], 40):
        path = shutil.which(f"python3.{minor}")
        if path:
            found.setdefault((3, minor), path)
    for own in sorted((Path.home() / ".pyenv" / "versions").glob("3.*/bin/python3")):
        version = re.match(r"3\.(\d+)", own.parents[1].name)
        if version and int(version.group(1)) >= OLDEST[1]:
            found[(3, int(version.group(1)))] = str(own)
    # one on the path may be a stub that only says which versions there are
    return {version: path for version, path in found.items() if _runs(path)}


def _runs(path: str) -> bool:
    return subprocess.run([path, "-c", "import ensurepip"], capture_output=True).returncode == 0


def check(python: str, wanted: list[str], options: list[str]) -> int:
    """Install the package beside the versions wanted and run the core; the exit status of pytest, or of pip."""
    with tempfile.TemporaryDirectory(prefix="ringwright-compat-") as folder:
        subprocess.run([python, "-m", "venv", folder], check=True)
        own = str(Path(folder) / "bin" / "python")
        install = [own, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        status = subprocess.run([*install, "--editable", str(ROOT), *wanted, *TEST_TOOLS]).returncode
        if status:
            return status
        kept = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
        command = [own, "-m", "pytest", "-p", "no:cacheprovider", *options, *CORE]
        return subprocess.run(command, cwd=ROOT, env=kept).returncode


def main() -> int:
    """Run all of it; 1 where one fails."""
    there = pythons()
    if OLDEST not in there:
        print("Python 3.11 is not here: install it, or put python3.11 on the path.")
        return 1
    needs, newest = dependencies(), max(there)
    # libraries of today below those of then warn of being called in the ways of then
    runs = [(OLDEST, lowest(needs), ["-W", "ignore::DeprecationWarning"]), (OLDEST, needs, []), (newest, needs, [])]
    failed = 0
    for version, wanted, options in runs if newest != OLDEST else runs[:2]:
        print(f"Python {version[0]}.{version[1]}: {', '.join(wanted)}", flush=True)
        failed += check(there[version], wanted, options) != 0
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
