"""Write a picture of every local page, light and dark, in three sizes, into docs/pictures.

Needs Chromium and a bench whose prints were read; without one the small example is made.
Run: python -m docs.shoot_pages [BENCH [FOLDER]]
"""

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from firedeck.study.bench import Bench
from tests.support import pages

SIZES = {"wide": (1440, 900), "middle": (1024, 768), "phone": (390, 844)}
SCHEMES = ("light", "dark")

#: Pages too long for one picture: name of each picture and the heading that it begins with.
PARTS = {"film": {"film-head": "#film", "film": "#map-head", "seals": "#seal-head", "leaks": "#leak-head"}}

PICTURES = Path(__file__).parent / "pictures"


def page_list(folder: Path) -> dict[str, str]:
    """Return name and address of every page of a bench."""
    bench = Bench(folder)
    tests = [test for test in bench.tests() if test.report]
    decks = [file for file in bench.files() if file.kind == "deck-plan"]
    gaskets = [file.stem for file in bench.files() if file.kind == "gasket"]
    seals = f"?gasket={gaskets[0]}" if gaskets else ""
    found = {"bench": "/", "new-test": f"/new-test?like={tests[0].file.name}", "cautions": "/cautions"}
    found["film"] = f"/film/{tests[0].file.stem}"
    found["deck"] = f"/deck/{decks[0].stem}{seals}"
    if len(tests) > 1:
        found["against"] = f"/against/{tests[1].file.stem}/{tests[0].file.stem}"
    return found


def shoot(browser: Browser, address: str, wanted: dict[str, str], target: Path) -> None:
    """Write the pictures of every page."""
    for size, (width, height) in SIZES.items():
        for scheme in SCHEMES:
            context = browser.new_context(
                base_url=address, viewport={"width": width, "height": height}, color_scheme=scheme
            )
            for name, path in wanted.items():
                page = context.new_page()
                page.goto(path, wait_until="networkidle")
                page.wait_for_timeout(500)
                for part, anchor in PARTS.get(name, {name: ""}).items():
                    if anchor:
                        page.locator(anchor).evaluate("one => one.scrollIntoView({ behavior: 'instant' })")
                        page.wait_for_timeout(200)
                    page.screenshot(path=target / f"{part}-{size}-{scheme}.png", full_page=not anchor)
                page.close()
            context.close()


def main(arguments: list[str]) -> None:
    """Serve the bench and take the pictures."""
    with tempfile.TemporaryDirectory() as scratch:
        bench = Path(arguments[0]) if arguments else pages.bench(Path(scratch) / "bench")
        target = Path(arguments[1]) if len(arguments) > 1 else PICTURES
        target.mkdir(parents=True, exist_ok=True)
        wanted = page_list(bench)
        chromium = shutil.which("chromium") or shutil.which("chromium-browser")
        with pages.served(bench) as address, sync_playwright() as play:
            browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
            shoot(browser, address, wanted, target)
            browser.close()
    print(f"pictures of {', '.join(wanted)} in {target}")


if __name__ == "__main__":
    main(sys.argv[1:])
