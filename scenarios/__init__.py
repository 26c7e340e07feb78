"""Worked scenarios that come with the package, each a story with a question.

>>> sorted(bundled())[0]
'atoll-on-the-equator'
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
        near = difflib.get_close_matches(wanted, [item.removesuffix(_SUFFIX) for item in known], n=1, cutoff=0.4)
        hint = f" (did you mean {near[0]}?)" if near else ""
        listed = ", ".join(sorted(item.removesuffix(_SUFFIX) for item in known))
        raise InputError(f"there is no bundled scenario {name!r}{hint}: they are {listed}.")
    return files(__package__).joinpath(wanted + _SUFFIX).read_text(encoding="utf-8")


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
