"""Worked scenarios that come with the package, each a story with a question.

>>> "four-over-the-equator" in bundled()
True
"""

from __future__ import annotations

import difflib
import tomllib
from importlib.resources import files

from ..models.errors import InputError

_SUFFIX = ".toml"


def bundled() -> dict[str, str]:
    """Names of the bundled scenarios, each with its title and question in one line.

    >>> bundled()["one-craft-mars"].startswith("One craft around Mars: ")
    True
    """
    found = {}
    for item in sorted(files(__package__).iterdir(), key=lambda item: item.name):
        if item.name.endswith(_SUFFIX):
            source = item.read_text(encoding="utf-8")
            found[item.name.removesuffix(_SUFFIX)] = f"{tomllib.loads(source)['title']}: {question(source)}"
    return found


def text(name: str) -> str:
    """The text of a bundled scenario, with or without its ``.toml``.

    Raises:
        InputError: there is none of that name.

    >>> "[ring]" in text("one-craft-mars")
    True
    """
    wanted = name.removesuffix(_SUFFIX)
    known = [item.name for item in files(__package__).iterdir() if item.name.endswith(_SUFFIX)]
    if wanted + _SUFFIX not in known:
        near = near_names(name)
        hint = f" (did you mean {' or '.join(near)}?)" if near else ""
        listed = ", ".join(sorted(item.removesuffix(_SUFFIX) for item in known))
        raise InputError(f"there is no bundled scenario {name!r}{hint}: there are {listed}.")
    return files(__package__).joinpath(wanted + _SUFFIX).read_text(encoding="utf-8")


def near_names(name: str) -> list[str]:
    """Bundled scenarios that a name may mean, at most two: those with all of its words, else those spelled alike.

    >>> near_names("mars"), near_names("dayly-window.toml"), near_names("my-ring")
    (['low-mars', 'one-craft-mars'], ['daily-window'], [])
    """
    wanted = name.strip().lower().removesuffix(_SUFFIX).replace("_", "-").replace(" ", "-")
    known = sorted(item.name.removesuffix(_SUFFIX) for item in files(__package__).iterdir() if _SUFFIX in item.name)
    words = set(wanted.split("-"))
    found = [wanted] if wanted in known else [one for one in known if words <= set(one.split("-"))]
    return found[:2] or difflib.get_close_matches(wanted, known, n=2, cutoff=0.75)


def question(source: str) -> str:
    """The question of a scenario: the last paragraph of the comment at its top, in one line.

    >>> question('# A story.\\n#\\n# The question:\\n# why?\\n\\ntitle = "x"\\n')
    'why?'
    """
    lines = []
    for line in source.splitlines():
        if not line.startswith("#"):
            break
        lines.append(line.removeprefix("#").strip())
    last = " ".join(lines[len(lines) - lines[::-1].index("") :] if "" in lines else lines)
    return last.removeprefix("The question:").removeprefix("The smallest question there is:").strip()
