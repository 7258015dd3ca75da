"""Write a picture of every local page, light and dark, in three sizes, to be looked at.

Those that the guide shows are written small into docs/pictures as well, and so are pictures that commands
made. Needs Chromium and the demonstration's folder, build/demo.
Run: python -m docs.shoot_pages BENCH FOLDER [PAGE...]
With names of pages only these are taken, such as film or gasket.
"""

import shutil
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from firedeck.study.bench import Bench
from firedeck.web import worker
from tests.support import pages

SIZES = {"wide": (1440, 900), "middle": (1024, 768), "phone": (390, 844)}
SCHEMES = ("light", "dark")

#: Pages too long for one picture: name of each picture and the heading that it begins with.
PARTS = {
    "film": {"film-head": "#film", "film": "#map-head", "seals": "#seal-head", "leaks": "#leak-head"},
    "clamp": {"clamp-head": "#clamp", "clamp": "#map-head", "clamp-seals": "#seals-head"},
}

#: Pages that the guide shows, kept in every size and both schemes.
GUIDE = ("bench", "film", "lay", "deck", "gasket", "clamp", "against", "calibration")
SHOWN = tuple(f"{name}-{size}-{scheme}" for name in GUIDE for size in SIZES for scheme in SCHEMES)
#: Pictures that commands made of the bench's files, which the guide shows -> their names there.
MADE = {
    "fasteners/clamp.png": "fasteners-clamp",
    "trace-report/fan-1.png": "duty-fan",
    "duty-comparison/duties.png": "duty-comparison",
}
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
                # A predicted joint goes on asking until all its intervals are worked out.
                page.goto(path, wait_until="load" if name == "clamp" else "networkidle", timeout=120_000)
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


def make_whole(bench: Path, wanted: dict[str, str]) -> None:
    """Put what the demonstration wrote elsewhere where the pages look for it, and look at the scans."""
    if "against" in wanted:
        first, second = wanted["against"].split("/")[2:4]
        copy(bench / "comparison", bench / f"{second}-against-{first}")
    if "calibration" in wanted:
        copy(bench / "calibration", bench / f"{wanted['calibration'].split('/')[2]}-calibration")
    test = wanted.get("lay", "").split("/")[2:3]
    if test and not (bench / f"{test[0]}-laying").is_dir():
        worker.JOBS["lay"](bench, [f"{test[0]}.toml"], lambda *_: None)


def copy(made: Path, place: Path) -> None:
    """Copy a folder that a command made to where a job would have put it."""
    if made.is_dir() and not place.exists():
        shutil.copytree(made, place)


def keep_shown(bench: Path, target: Path) -> None:
    """Write the guide's pictures with few colours, a fraction of their size."""
    PICTURES.mkdir(exist_ok=True)
    shots = {name: target / f"{name}.png" for name in SHOWN}
    made = {name: bench / path for path, name in MADE.items()}
    for name, path in (shots | made).items():
        if not path.is_file():
            continue
        with Image.open(path) as picture:
            high = picture.crop((0, 0, picture.width, min(picture.height, MOST * picture.width)))
            # Colours by how far they reach, not by how often they occur: saturated cells are few.
            few = high.convert("RGB").quantize(
                256, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE, kmeans=3
            )
            few.save(PICTURES / f"{name}.png", optimize=True)


def main(arguments: list[str]) -> None:
    """Serve the bench and take the pictures."""
    bench, target = (Path(name) for name in arguments[:2])
    target.mkdir(parents=True, exist_ok=True)
    wanted = page_list(bench)
    if arguments[2:]:
        wanted = {name: path for name, path in wanted.items() if name in arguments[2:]}
    make_whole(bench, wanted)
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with pages.served(bench) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        shoot(browser, address, wanted, target)
        browser.close()
    keep_shown(bench, target)
    print(f"pictures of {', '.join(wanted)} in {target}")


if __name__ == "__main__":
    main(sys.argv[1:])
