"""How fast the page of a large ring opens and plays: ``python tests/benchmarks/page_speed.py [--smoke]``.

66 craft and 400 plans in headless Chromium, drawn without a graphics card.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from ringwright.tests.reports.crowd import CRAFT, PLANS, crowd
from ringwright.tests.reports.page.browser import Watched, browser, missing, saved

COUNT_FRAMES = """(wanted) => new Promise((done) => {
  let count = 0, begun = 0;
  const step = (now) => {
    if (!begun) begun = now; else count++;
    if (now - begun < wanted) requestAnimationFrame(step); else done(1000 * count / (now - begun));
  };
  document.getElementById("play").click(); requestAnimationFrame(step);
})"""
OPENED = "() => performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd"
PICKED = """(count) => { const list = document.getElementById("first"), begun = performance.now();
  for (let i = 1; i <= count; i++) { list.selectedIndex = i * 7; list.dispatchEvent(new Event("change")); }
  return (performance.now() - begun) / count; }"""


def main(arguments: list[str]) -> int:
    """Print size, and times on the clock."""
    small = "--smoke" in arguments
    craft, plans = (6, 20) if small else (CRAFT, PLANS)
    with tempfile.TemporaryDirectory() as folder:
        place = saved(crowd(craft=craft, plans=plans), Path(folder) / "crowd.html")
        print(f"{craft} craft, {plans} plans: {place.stat().st_size / 1e6:.2f} MB")
        if missing():
            print(f"not opened: {missing()}")
            return 0
        with browser() as home:
            watched = Watched(home, place, viewport={"width": 1440, "height": 900})
            page = watched.page
            print(f"opens in {page.evaluate(OPENED):.0f} ms")
            print(f"another plan picked in {page.evaluate(PICKED, 2 if small else 20):.0f} ms")
            print(f"plays at {page.evaluate(COUNT_FRAMES, 300 if small else 4000):.0f} frames a second")
            watched.close()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
