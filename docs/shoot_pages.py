"""Write a picture of every local page, light and dark, in three sizes, to be looked at.

Those that the guide shows are written small into docs/pictures as well. Needs Chromium and a bench whose
prints were read, such as build/demo.
Run: python -m docs.shoot_pages BENCH FOLDER [PAGE...]
With names of pages only these are taken, such as film or gasket.
"""

import shutil
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from firedeck.study.bench import Bench
from tests.support import pages

SIZES = {"wide": (1440, 900), "middle": (1024, 768), "phone": (390, 844)}
SCHEMES = ("light", "dark")

#: Pages too long for one picture: name of each picture and the heading that it begins with.
PARTS = {
    "film": {"film-head": "#film", "film": "#map-head", "seals": "#seal-head", "leaks": "#leak-head"},
    "clamp": {"clamp-head": "#clamp", "clamp": "#map-head", "clamp-seals": "#seals-head"},
}

#: Pictures that the guide shows, kept in every size and both schemes; of others the wide light one alone.
GUIDE = ("bench", "film", "deck", "gasket", "against", "calibration")
SHOWN = (
    "clamp-wide-light",
    *(f"{name}-{size}-{scheme}" for name in GUIDE for size in SIZES for scheme in SCHEMES),
)
#: Most that a kept picture is higher than wide [1]; what lies below is more of the same.
MOST = 4
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
    if (folder / f"{tests[0].file.stem}-laying").is_dir():
        found["lay"] = f"/film/{tests[0].file.stem}/lay"
    found["new-calibration"] = "/new-calibration"
    calibrations = [file.stem for file in bench.files() if file.kind == "film-calibration"]
    if calibrations:
        found["calibration"] = f"/calibration/{calibrations[0]}"
    found["deck"] = f"/deck/{decks[0].stem}{seals}"
    if gaskets:
        found["gasket"] = f"/gasket/{gaskets[0]}"
    fastenings = [file.stem for file in bench.files() if file.kind == "fastening"]
    if fastenings:
        found["file"] = f"/file/{fastenings[-1]}"
    predictions = [file.stem for file in bench.files() if file.kind == "prediction"]
    if predictions:
        found["clamp"] = f"/clamp/{predictions[0]}"
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
                if name == "film":
                    page.locator(".masks summary").click()
                if name == "clamp":
                    settle_clamp(page)
                if name in ("deck", "gasket", "file"):
                    page.locator("#features [role=option]").nth(4 if name == "gasket" else 2).click()
                    page.evaluate("scrollTo({ top: 0, behavior: 'instant' })")
                    page.wait_for_timeout(300)
                for part, anchor in PARTS.get(name, {name: ""}).items():
                    if anchor:
                        page.locator(anchor).evaluate("one => one.scrollIntoView({ behavior: 'instant' })")
                        page.wait_for_timeout(200)
                    page.screenshot(path=target / f"{part}-{size}-{scheme}.png", full_page=not anchor)
                page.close()
            context.close()


def settle_clamp(page: Page) -> None:
    """Have the bodies condensed where they are not yet, and wait until the give-way order stands."""
    page.wait_for_selector("#clamp[data-ready=yes], #condense:visible", timeout=120_000)
    if page.locator("#condense").is_visible():
        page.locator("#condense").click()
    page.wait_for_selector("#clamp[data-ordered]", timeout=600_000)


def keep_shown(target: Path) -> None:
    """Write the guide's pictures with few colours, a fraction of their size."""
    PICTURES.mkdir(exist_ok=True)
    for name in SHOWN:
        if not (target / f"{name}.png").is_file():
            continue
        with Image.open(target / f"{name}.png") as picture:
            high = picture.crop((0, 0, picture.width, min(picture.height, MOST * picture.width)))
            few = high.convert("RGB").quantize(64, dither=Image.Dither.NONE)
            few.save(PICTURES / f"{name}.png", optimize=True)


def main(arguments: list[str]) -> None:
    """Serve the bench and take the pictures."""
    bench, target = (Path(name) for name in arguments[:2])
    target.mkdir(parents=True, exist_ok=True)
    wanted = page_list(bench)
    if arguments[2:]:
        wanted = {name: path for name, path in wanted.items() if name in arguments[2:]}
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with pages.served(bench) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        shoot(browser, address, wanted, target)
        browser.close()
    keep_shown(target)
    print(f"pictures of {', '.join(wanted)} in {target}")


if __name__ == "__main__":
    main(sys.argv[1:])
