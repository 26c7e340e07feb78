"""The README's pictures are those that the code draws now; ``make pictures`` draws them."""

from __future__ import annotations

import re

import pytest

from ringwright.tests.moving_page import DEMO, FILE, FRAMES, MOST_BYTES, made_from
from ringwright.tests.pictures import PICTURES, PLACE, planned, svg

README = (PLACE.parent.parent / "README.md").read_text(encoding="utf-8")

HUNDREDTH = 0.011
"""Of a point, 0.004 mm: another processor may round the last digit of a place the other way."""

NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")
NAMED = re.compile(r'(id="|url\(#|href="#)[a-z]+[0-9a-f]{10}')


def parts(drawn: str) -> tuple[str, list[float]]:
    """A drawing without its numbers, and those; names made from the numbers left out."""
    plain = NAMED.sub(r"\1", drawn)
    return NUMBER.sub("0", plain), [float(one) for one in NUMBER.findall(plain)]


@pytest.mark.parametrize(
    "name",
    [name if name in {"front", "turning_view"} else pytest.param(name, marks=pytest.mark.soak) for name in PICTURES],
)
def test_pictures_are_not_stale(name: str) -> None:
    kept, now = (PLACE / f"{name}.svg").read_bytes(), svg(name)
    if kept == now:
        return
    (shape, places), (shape_now, places_now) = parts(kept.decode()), parts(now.decode())
    assert shape == shape_now, "make pictures"
    assert places_now == pytest.approx(places, abs=HUNDREDTH), "make pictures"


def test_the_moving_picture_of_the_page_is_not_stale() -> None:
    """It holds a digest of what it was made from; neither browser nor picture is needed to compare."""
    from PIL import Image, ImageSequence

    content = FILE.read_bytes()
    with Image.open(FILE) as picture:
        assert picture.info["comment"].decode() == made_from(planned(DEMO)), "make pictures"
        assert sum(1 for _ in ImageSequence.Iterator(picture)) == 2 * FRAMES
    assert len(content) < MOST_BYTES
    shown = README.index("(reports/pictures/page.gif)")
    assert README.index("proves which schedule") < shown < README.index("\n## One command")


def test_every_picture_of_the_readme_is_made_by_a_target() -> None:
    shown = set(re.findall(r"\(reports/pictures/(\w+)\.svg\)", README))
    # growth is timed by make bench
    assert shown == {*PICTURES, "growth"}
