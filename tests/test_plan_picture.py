"""The plan's picture and the looks of all pictures, judged by what is in them and not by pixels."""

from __future__ import annotations

import colorsys
import itertools
import subprocess
import sys
import xml.etree.ElementTree as ElementTree

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from firedeck.definition.deck import DeckPlan, PortKind, SealKind
from firedeck.definition.plan_checks import check_plan
from firedeck.definition.plan_finding import PlanFinding
from firedeck.drawing import style
from firedeck.drawing.picture_file import save, to_png_bytes, to_svg_text
from firedeck.drawing.plan_picture import VIEW_NOTE, plan_figure
from firedeck.errors import FiredeckError
from firedeck.scenario.engine import engine_plan, small_plan


@pytest.fixture(scope="module")
def plan() -> DeckPlan:
    return engine_plan()


@pytest.fixture(scope="module")
def picture(plan) -> Figure:
    return plan_figure(plan)


def lightness(colour) -> float:
    """CIE 1976 L* of an sRGB colour, white 100: ISO/CIE 11664-4, luminance by IEC 61966-2-1."""
    linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in colour[:3]]
    luminance = float(np.dot([0.2126, 0.7152, 0.0722], linear))
    return 116 * luminance ** (1 / 3) - 16 if luminance > (6 / 29) ** 3 else luminance * (29 / 3) ** 3


def texts(figure: Figure) -> list[str]:
    return [text.get_text() for axes in figure.axes for text in axes.texts]


def legend_of(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.legends[0].get_texts()]


def test_equal_steps_of_pressure_look_equal():
    steps = np.diff([lightness(style.PRESSURE_MAP(at)) for at in np.linspace(0, 1, 17)])
    assert steps == pytest.approx(steps.mean(), rel=0.15)
    assert steps.mean() < -4


def test_differences_of_either_sign_look_equally_strong():
    places = np.linspace(0, 0.5, 9)
    less = [lightness(style.DIFFERENCE_MAP(0.5 - at)) for at in places]
    more = [lightness(style.DIFFERENCE_MAP(0.5 + at)) for at in places]
    assert less == pytest.approx(more, abs=4)
    assert np.all(np.diff(less) < 0)


def test_the_red_of_the_dye_is_left_to_the_film():
    colours = [*style.SERIES, style.FAULT_COLOUR, *(look.colour for look in style.PORT_LOOKS.values())]
    colours += [scale(at) for scale in (style.PRESSURE_MAP, style.DIFFERENCE_MAP) for at in (0.0, 0.5, 1.0)]
    for colour in colours:
        hue, saturation, _ = colorsys.rgb_to_hsv(*to_rgb(colour))
        assert saturation < 0.3 or 20 < 360 * hue < 300


def test_kinds_are_told_apart_without_colour():
    assert len({look.hatch for look in style.PORT_LOOKS.values()}) == len(PortKind)
    lines = {(look["linewidth"], str(look["linestyle"])) for look in style.SEAL_LINES.values()}
    assert len(lines) == len(SealKind)


def test_a_user_s_own_settings_are_left_alone(plan):
    with mpl.rc_context({"font.size": 31.0}):
        figure = plan_figure(plan)
        assert mpl.rcParams["font.size"] == 31.0
    assert {text.get_fontsize() for text in figure.axes[0].texts} <= {6.0, 7.0}


def test_everything_of_the_plan_is_drawn_and_named(plan, picture):
    (axes,) = picture.axes
    assert len(axes.patches) == 1 + len(plan.openings)
    drawn = {line.get_label() for line in axes.lines}
    assert {seal.name for seal in plan.seals} <= drawn
    written = texts(picture)
    for name in [*(bore.name for bore in plan.bores), *(port.name for port in plan.ports)]:
        assert written.count(name) == 1
    assert {str(number) for number in range(1, 11)} <= set(written)
    assert VIEW_NOTE in written
    assert axes.get_title(loc="left") == plan.name
    assert axes.get_aspect() == 1.0


def test_the_legend_holds_what_the_plan_holds(picture):
    assert legend_of(picture) == [
        "fastener hole", "dowel", "coolant port", "oil-feed port", "oil-return port", "full-bead seal",
        "half-bead seal",
    ]  # fmt: skip
    assert "oil-feed port" not in legend_of(plan_figure(DeckPlan.model_validate(
        {**small_plan().model_dump(by_alias=True), "port": [], "seal": []}
    )))  # fmt: skip


def test_the_scale_bar_is_as_long_as_it_says(plan, picture):
    (label,) = [text for text in texts(picture) if text.endswith(" mm")]
    bar = max(picture.axes[0].lines, key=lambda line: line.get_linewidth() * (not line.get_clip_on()))
    assert np.ptp(bar.get_xdata()) == pytest.approx(float(label.removesuffix(" mm")))


def test_names_cover_neither_each_other_nor_the_openings(plan, picture):
    canvas = FigureCanvasAgg(picture)
    canvas.draw()
    axes = picture.axes[0]
    names = {opening.name for opening in plan.openings} | {str(number) for number in range(1, 11)}
    boxes = {
        text.get_text(): text.get_window_extent(canvas.get_renderer())
        for text in axes.texts
        if text.get_text() in names
    }
    frame = axes.get_window_extent()
    for name, box in boxes.items():
        assert frame.x0 <= box.x0, name
        assert box.x1 <= frame.x1, name
    for (name, box), (other, other_box) in itertools.combinations(boxes.items(), 2):
        assert not box.padded(-1).overlaps(other_box.padded(-1)), (name, other)
    bores = {bore.name for bore in plan.bores}
    small = [
        patch
        for patch, opening in zip(axes.patches[1:], plan.openings, strict=True)
        if opening.name not in bores
    ]
    for patch in small:
        hole = patch.get_window_extent(canvas.get_renderer())
        assert not [name for name, box in boxes.items() if box.overlaps(hole.shrunk(0.9, 0.9))]


def test_findings_are_marked_where_they_are_and_listed():
    plan = small_plan()
    findings = [
        PlanFinding("fault", "dowel[1]", "it overlaps", "move it", (13.0, 40.0)),
        PlanFinding("doubt", "coordinates", "the deck is 1 mm long", "check"),
        *(PlanFinding("doubt", f"seal[{n}]", "word " * 40, "check", (50.0, 50.0)) for n in range(1, 14)),
    ]
    figure = plan_figure(plan, findings=findings)
    marks = [text for text in figure.axes[0].texts if text.get_bbox_patch() is not None]
    assert [mark.get_text() for mark in marks] == ["1", *(str(number) for number in range(3, 13))]
    assert marks[0].xy == (13.0, 40.0)
    assert marks[0].get_bbox_patch().get_facecolor() != marks[1].get_bbox_patch().get_facecolor()
    (listing,) = [text.get_text() for text in figure.texts]
    assert listing.startswith("1  fault: dowel[1]: it overlaps\n2  doubt: coordinates: the deck is 1 mm long")
    assert listing.endswith("and 3 more")
    assert max(len(line) for line in listing.splitlines()) <= 125


def test_a_faulty_plan_is_drawn_too():
    tables = small_plan().model_dump(by_alias=True)
    tables["seal"][0]["around"] = "bore 9"
    broken = DeckPlan.model_validate(tables)
    figure = plan_figure(broken, findings=check_plan(broken))
    assert tables["seal"][0]["name"] not in {line.get_label() for line in figure.axes[0].lines}
    assert "bore 9" in figure.texts[0].get_text()


def test_files_are_svg_or_png_and_repeatable(picture, tmp_path):
    for ending in ("svg", "png"):
        save(picture, tmp_path / f"one.{ending}")
        save(picture, tmp_path / f"two.{ending}")
        assert (tmp_path / f"one.{ending}").read_bytes() == (tmp_path / f"two.{ending}").read_bytes()
    root = ElementTree.parse(tmp_path / "one.svg").getroot()
    assert root.tag.endswith("svg")
    with pytest.raises(FiredeckError, match="SVG or PNG"):
        save(picture, tmp_path / "plan.gif")
    with pytest.raises(FiredeckError, match="cannot be written"):
        save(picture, tmp_path / "none" / "plan.svg")


def test_pictures_on_one_page_keep_their_marks_apart():
    figure = Figure(figsize=(1, 1))
    figure.add_axes((0, 0, 1, 1)).add_line(Line2D([0, 1], [0, 1], marker="o"))
    one, two = (
        ElementTree.fromstring(to_svg_text(figure, name, label='a "plan" & more')) for name in ("a", "b")
    )
    assert one.get("role") == "img"
    assert one.get("aria-label") == 'a "plan" & more'
    marks = [{part.get("id") for part in root.iter() if part.get("id")} for root in (one, two)]
    assert marks[0]
    assert marks[0] & marks[1] == set()
    used = {value[1:] for part in one.iter() for key, value in part.items() if key.endswith("href")}
    assert used <= marks[0]


def test_text_stays_text_in_svg(picture):
    svg = to_svg_text(picture, "plan")
    assert ">bore 1</text>" in svg
    assert "DejaVu Sans" in svg


def test_png_has_the_resolution_asked_for(picture):
    width = int.from_bytes(to_png_bytes(picture, dpi=50)[16:20], "big")
    assert width == pytest.approx(style.FULL_WIDTH * 50, abs=1)


def test_no_global_drawing_state_is_made():
    code = (
        "import sys; from firedeck.drawing import plan_picture, picture_file;"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "False"
