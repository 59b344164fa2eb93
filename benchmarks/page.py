"""How fast the page of `raysim open` shows the light, on the demo: python benchmarks/page.py.

50,256 judged face-sides, tracer and a headless Chromium without a graphics card on this computer.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path
from shutil import copytree

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests" / "helpers"))

from page_server import Page, chromium, served  # noqa: E402

MOVES = 8
WATCHED = 10.0  # s


def moved(page: Page) -> tuple[float, float]:
    """Seconds from an arrow key to the first light of the new draft, and to its check."""
    page.hold("from:front left@floor").focus()
    before = page.value("canvas.dataset.number")
    began = time.monotonic()
    page.page.keyboard.press("Shift+ArrowRight")
    page.until(f"canvas.dataset.number !== '{before}'")
    light = time.monotonic() - began
    page.until("document.querySelector('#line-check .tick.done') !== null")
    return light, time.monotonic() - began


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        for name in ("scenes", "meshes"):
            copytree(ROOT / name, Path(folder) / name)
        scene = Path(folder) / "scenes" / "clinic_locker.toml"
        with chromium() as browser, served(scene) as server:
            page = Page(browser, server.address)
            page.until("canvas.dataset.pictures > 3")
            times = [moved(page) for _ in range(MOVES)]
            time.sleep(1.0)
            before, began = int(page.value("canvas.dataset.pictures")), time.monotonic()
            time.sleep(WATCHED)
            count = int(page.value("canvas.dataset.pictures")) - before
            rate = count / (time.monotonic() - began)
            page.page.close()
    light, check = (statistics.median(one) for one in zip(*times, strict=True))
    print(f"first light {light:.2f} s, check {check:.2f} s after a change (medians of {MOVES})")
    print(f"{rate:.1f} pictures a second while the tracer runs")


if __name__ == "__main__":
    main()
