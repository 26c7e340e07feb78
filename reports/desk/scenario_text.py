"""The scenario as it stands at the desk, as a file: the text that was read, with what was changed written into it.

Comments, order and spelling stay (tomlkit); a new value takes the place of the old one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ...models.reading.overrides import apply_settings
from ...models.reading.scenario_reader import parse_scenario
from ...models.scenario import Scenario, Source


def with_settings(text: str, settings: Sequence[str]) -> str:
    """Write settings into the text of a scenario.

    Args:
        text: of a scenario that can be read with these settings.
        settings: as for ``--set``, of tables that a scenario has once.

    Raises:
        InputError: the scenario cannot be read with them.
        RuntimeError: what was written does not say what it should, a fault of ours.
    """
    if not settings:
        return text
    import tomlkit

    document = tomlkit.parse(text)
    for setting in settings:
        table = setting.partition(".")[0]
        if table not in document:
            document.append(table, tomlkit.table())
    apply_settings(document, settings)
    made = tomlkit.dumps(document)
    if _bare(parse_scenario(made)) != _bare(parse_scenario(text, settings=settings)):
        raise RuntimeError("the scenario that was written is not the one that was planned")
    return made


def _bare(scenario: Scenario) -> Scenario:
    """What a scenario says, without where it says it."""
    return replace(scenario, source=Source(), warnings=())
