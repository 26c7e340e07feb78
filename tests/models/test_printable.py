"""What came from a file or an argument stands in a message escaped, and cut where it is long."""

from __future__ import annotations

import pytest

from ringwright.models.errors import InputError
from ringwright.models.reading.scenario_reader import parse_scenario

WORLD = '[body]\nname = "mars"\n[ring]\naltitude_km = 9000\nslots = 2\n'
HOSTILE = {
    "name beside an unknown key": WORLD + '[[craft]]\nfoo = 1\nname = "\\u001b]0;Kettle\\u0007\\u001b[31mred"\n',
    "name beside a slot too far": WORLD
    + '[[ring.occupied]]\nslot = 9\nname = "\\u001b[31mSpoon"\n[[craft]]\nname = "a"\n',
    "key": WORLD + '"\\u001b[2Jslots" = 4\n[[craft]]\nname = "a"\n',
    "key that turns the line": WORLD + '"slot\\u202es" = 4\n[[craft]]\nname = "a"\n',
    "table": WORLD + '["\\u009bcraft"]\nname = "a"\n',
    "value": WORLD.replace('"mars"', '"\\u001b[31mmars"'),
    "text that is no TOML": "x = \u202e 3 \x85 \u2028",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_no_message_holds_control_characters(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_scenario(text, "kettle\x1b[31m.toml")
    assert str(caught.value).isprintable()
    assert "kettle\\u001b[31m.toml" in str(caught.value)


@pytest.mark.parametrize("setting", ["\x1b[31m=3", "ring.\x1bslots=3", "ring.slots=\x1b[31m", 'craft."\u202e".x=1'])
def test_no_message_about_a_setting_holds_control_characters(setting: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_scenario(WORLD + '[[craft]]\nname = "a"\n', settings=[setting])
    assert str(caught.value).isprintable()


LONG = "spoon" * 40_000
SPOILED = {
    "key": f'{WORLD}{LONG} = 4\n[[craft]]\nname = "a"\n',
    "value": f'{WORLD}[[craft]]\nname = "{LONG}"\n',
    "name in a label": f'{WORLD}[[craft]]\nfoo = 1\nname = "{LONG}"\n',
    "words": f'{WORLD}[[craft]]\nfoo = 1\nname = "{"spoon " * 40_000}"\n',
    "table": f'{WORLD}[{LONG}]\nname = "a"\n',
    "list": f'{WORLD}[[craft]]\nname = "a"\npads = [{"1, " * 60_000}]\n',
    "no TOML": f"{LONG}\n",
}


@pytest.mark.parametrize("text", SPOILED.values(), ids=SPOILED.keys())
def test_no_message_is_longer_than_a_screen(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_scenario(text, "drawer.toml")
    assert len(str(caught.value)) < 2000
    assert str(caught.value).startswith("drawer.toml")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize("form", ["{} = 1\n", "[{}]\n", "[[{}]]\n", "x = {{ {} = 1 }}\n"])
@pytest.mark.parametrize("part", ["a", '"a b"', "'a'"])
def test_a_key_of_a_hundred_thousand_parts_is_refused_before_it_is_parsed(
    form: str, part: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ringwright.models.reading.toml_text.tomllib.loads", None)
    with pytest.raises(InputError, match=r"drawer\.toml, line 2: .* joins more than 50 names"):
        parse_scenario("\n" + form.format(".".join([part] * 100_000)), "drawer.toml")


def test_a_text_is_quoted_as_it_was_written() -> None:
    with pytest.raises(InputError, match='"Löffel\\\\\\\\" is no built-in body'):
        parse_scenario(WORLD.replace('"mars"', '"Löffel\\\\"') + '[[craft]]\nname = "a"\n')
