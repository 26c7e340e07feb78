"""Makes the moving picture of the page that the README shows, in headless Chromium: ``make pictures``.

The page of the demo, first its best plan, then one that is done a day sooner. What the picture was made from is kept in
its file, so that a test can say without a browser whether it is stale.
"""

from __future__ import annotations

import hashlib
import io
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image

from ringwright.optimizer.outcome import Outcome
from ringwright.reports.figures.style import INKS, PAPER
from ringwright.reports.page.data import page_data
from ringwright.reports.page.page import asset
from ringwright.tests.pictures import PLACE, planned
from ringwright.tests.reports.page.browser import browser, missing, saved

FILE = PLACE / "page.gif"
DEMO = "four-over-the-equator"

VIEW = {"width": 1000, "height": 1400}
SHOWN_WIDTH = 760
"""Pixels of the picture across."""

FRAMES, FRAME_MS, HOLD_MS = 34, 110, 1400
"""Of each plan: moments, how long each is shown, and how long the last one."""

SOONER_BY_S = 82800.0
"""The second plan is done so much sooner than the first, at least."""

COLORS = 48
MOST_BYTES = 500_000


def made_from(outcome: Outcome) -> str:
    """A digest of what the picture shows: the files of the page, and words and figures on it as they are printed."""
    data = page_data(outcome)
    shown = [asset(name) for name in ("page.html", "page.css", "page.js")]
    shown += [data["title"], data["answer"], data["caution"], repr((VIEW, SHOWN_WIDTH, FRAMES, SOONER_BY_S, COLORS))]
    shown += [f"{plan['rank']}: {plan['cost']}, {plan['finish']}" for plan in data["plans"]]
    return hashlib.sha256("\0".join(shown).encode()).hexdigest()


def main() -> int:
    why = missing()
    if why:
        print(f"{FILE} was left as it is: {why}")
        return 0
    outcome = planned(DEMO)
    plans = sorted(outcome.plans, key=lambda plan: plan.rank)
    sooner = next(plan.rank for plan in plans if plan.on_front and plan.finish_s <= plans[0].finish_s - SOONER_BY_S)
    with tempfile.TemporaryDirectory() as folder, browser() as home:
        page = home.new_context(viewport=VIEW).new_page()
        page.goto(saved(outcome, Path(folder) / "page.html").as_uri())
        frames = [*_played(page), *_played(page, sooner)]
    times = ([FRAME_MS] * (FRAMES - 1) + [HOLD_MS]) * 2
    content = io.BytesIO()
    palette = _with_inks(frames[FRAMES // 2]).quantize(colors=COLORS, dither=Image.Dither.NONE)
    small = [frame.quantize(palette=palette, dither=Image.Dither.NONE) for frame in frames]
    small[0].save(
        content,
        format="GIF",
        save_all=True,
        append_images=small[1:],
        duration=times,
        loop=0,
        optimize=True,
        comment=made_from(outcome).encode(),
    )
    FILE.write_bytes(content.getvalue())
    print(f"{FILE}, {len(content.getvalue()) / 1e3:.0f} kB")
    return 0


def _with_inks(frame: Image.Image) -> Image.Image:
    """The frame with a patch of every ink below it, so that thin lines and small dots keep their colors."""
    patch = frame.width // len(INKS)
    larger = Image.new("RGB", (frame.width, frame.height + 2 * patch), PAPER)
    larger.paste(frame, (0, 0))
    for number, ink in enumerate(INKS):
        larger.paste(ink, (number * patch, frame.height, (number + 1) * patch, frame.height + 2 * patch))
    return larger


def _played(page: Any, rank: int | None = None) -> list[Image.Image]:
    """The page at evenly spaced moments of a plan, from the price of time down to the end of the first pictures."""
    if rank is not None:
        page.select_option("#first", str(rank))
    top = round(page.locator("#choice").bounding_box()["y"]) - 4
    box = page.locator(".panel figure").first.bounding_box()
    clip = {"x": 0, "y": top, "width": VIEW["width"], "height": round(box["y"] + box["height"] + 10) - top}
    found = []
    for number in range(FRAMES):
        page.locator("#moment").evaluate(
            "(one, value) => { one.value = value; one.dispatchEvent(new Event('input')); }",
            1000 * number / (FRAMES - 1),
        )
        picture = Image.open(io.BytesIO(page.screenshot(clip=clip))).convert("RGB")
        tall = round(picture.height * SHOWN_WIDTH / picture.width)
        found.append(picture.resize((SHOWN_WIDTH, tall), Image.Resampling.LANCZOS))
    first = found[0].height
    return [one.crop((0, 0, SHOWN_WIDTH, first)) for one in found]


if __name__ == "__main__":
    raise SystemExit(main())
