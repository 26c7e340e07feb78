"""The package is the checkout: what is on disk is what is installed, and nothing slow is loaded before it is needed."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import ringwright

from .compat import CORE, dependencies, lowest

ROOT = Path(ringwright.__file__).parent
ROOMS = ("models", "optimizer", "reports", "scenarios")
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "Makefile",
    "pyproject.toml",
    "__init__.py",
    "__main__.py",
    "cli.py",
    "py.typed",
    "tests",
    *ROOMS,
}
LEFT_BEHIND = {"build", "__pycache__", "ringwright.egg-info"}


def test_every_folder_with_code_is_listed_as_a_package() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    listed = set(settings["tool"]["setuptools"]["packages"])
    found = {"ringwright"}
    for room in ROOMS:
        for init in (ROOT / room).rglob("__init__.py"):
            found.add(".".join(("ringwright", *init.parent.relative_to(ROOT).parts)))
    assert listed == found


def test_every_dependency_has_a_lower_bound_that_is_tried() -> None:
    """What ``make compat`` installs; a bound that is no release would fail there."""
    pins = lowest(dependencies())
    assert len(pins) == len(dependencies())
    assert "pulp==3.3.1" in pins  # 3.3.0 lacks calls that the solver makes
    assert "matplotlib==3.10" in pins  # 3.9 lacks what the figures call
    assert all((ROOT / path).exists() for path in CORE)


def test_nothing_else_lies_at_the_top() -> None:
    seen = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert seen - LEFT_BEHIND <= TOP_LEVEL


def test_each_room_has_a_readme_that_names_its_files() -> None:
    for room in ("models", "optimizer", "scenarios"):
        text = (ROOT / room / "README.md").read_text(encoding="utf-8")
        paths = list((ROOT / room).iterdir())
        assert paths
        for path in paths:
            family = path.stem.split("_")[0]
            if path.suffix in {".py", ".toml"} and path.stem != "__init__":
                assert path.name in text or f"{family}*.py" in text, f"{room}/README.md does not name {path.name}"


def test_the_optimizer_s_readme_names_each_file_of_its_folders_and_no_other() -> None:
    room = ROOT / "optimizer"
    text = (room / "README.md").read_text(encoding="utf-8")
    on_disk = {path.relative_to(room).as_posix() for path in room.rglob("*.py") if path.stem != "__init__"}
    assert len(on_disk) > 100
    assert sorted(one for one in on_disk if f"`{one}`" not in text) == []
    named = set(re.findall(r"`([a-z_]+/[a-z_]+\.py)`", text))
    assert sorted(one for one in named - on_disk if not (ROOT / one).exists()) == []


def test_the_help_needs_nothing_slow() -> None:
    code = (
        "import sys, ringwright.cli as c\n"
        "try:\n    c.main(['--help'])\nexcept SystemExit:\n    pass\n"
        "slow = {'numpy', 'scipy', 'pandas', 'matplotlib', 'pulp'} & set(sys.modules)\n"
        "sys.exit(f'loaded {slow}' if slow else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_a_bare_import_of_a_room_fails_as_the_contributors_guide_says() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import models.ring; import optimizer.plan"], capture_output=True, text=True, cwd=ROOT
    )
    assert done.returncode != 0
    assert "relative import" in done.stderr
