"""Laying scanned prints onto the deck plan, against drawn prints whose pose is known."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.film.registration import Registration, RegistrationError, overlap_residual, register
from firedeck.film.sheet import find_sheet
from tests.support.simple_print import Scene, draw_print, inline_four

PLAN = inline_four()


def deck_error(found: Registration, truth: np.ndarray, x: tuple[float, float] = (0.0, 414.0)) -> np.ndarray:
    """Distance between where registration and truth put points all over the deck [mm]."""
    grid = np.stack(np.meshgrid(np.linspace(*x, 9), np.linspace(0.0, 190.0, 5)), axis=-1).reshape(-1, 2)
    picture = np.linalg.solve(truth[:, :2], (grid - truth[:, 2]).T).T
    return np.hypot(*(found.to_deck(picture) - grid).T)


@pytest.mark.parametrize(
    "scene",
    [
        Scene(rotation=4),
        Scene(rotation=93, scale=(1.01, 0.99)),
        Scene(rotation=181, mirrored=True, backing="black"),
        Scene(rotation=-37, grey=True),
        Scene(rotation=140, grey=True, backing="black"),
        Scene(rotation=270, mirrored=True, saturated=True),
        Scene(feet=True, noise=0.05),
    ],
    ids=["upright", "turned-stretched", "mirrored-black", "grey", "grey-black", "saturated", "feet"],
)
def test_pose_is_found_however_the_sheet_lies(scene):
    picture, truth = draw_print(PLAN, scene)
    found = register(picture, PLAN)
    assert find_sheet(picture).backing == scene.backing
    assert found.mirrored is scene.mirrored
    assert np.max(deck_error(found, truth)) < 0.05
    turn = (found.rotation_deg - scene.rotation + 180) % 360 - 180
    assert abs(turn) < 1.0
    assert found.hole_count == len(PLAN.openings)


def test_missing_and_false_holes_are_told():
    missing = ("bore 2", "fastener 1", "fastener 4", "port 3", "port 5", "port 8", "dowel front", "port 11")
    scene = Scene(missing=missing, false_holes=((200.0, 165.0, 5.0), (300.0, 28.0, 6.0)))
    picture, truth = draw_print(PLAN, scene)
    found = register(picture, PLAN)
    assert set(missing) <= set(found.missing)
    assert len(found.unmatched) >= 2
    assert np.max(deck_error(found, truth)) < 0.05


def test_half_sheets_fit_the_whole_plan_and_agree_in_the_overlap():
    front, true_front = draw_print(PLAN, Scene(rotation=2, cover=(-8.0, 222.0), seed=3))
    rear, true_rear = draw_print(PLAN, Scene(rotation=-178, cover=(198.0, 422.0), seed=4))
    one, other = register(front, PLAN), register(rear, PLAN)
    assert np.max(deck_error(one, true_front, (0.0, 220.0))) < 0.06
    assert np.max(deck_error(other, true_rear, (200.0, 414.0))) < 0.06
    apart, count = overlap_residual(one, other)
    assert count >= 1
    assert apart < 1.0


def test_symmetric_deck_is_not_guessed():
    plan = inline_four(symmetric=True)
    picture, _ = draw_print(plan, Scene(rotation=10))
    with pytest.raises(RegistrationError, match="ways") as refused:
        register(picture, plan)
    assert "landmarks" in refused.value.remedy
    assert len(refused.value.candidates) >= 2


def test_marks_decide_where_holes_fit_in_several_ways():
    asymmetric = [port.name for port in PLAN.ports] + [dowel.name for dowel in PLAN.dowels]
    picture, truth = draw_print(PLAN, Scene(rotation=100, mirrored=True, missing=tuple(asymmetric)))
    found = register(picture, PLAN)
    assert found.mirrored
    assert found.notes == ("the holes fit in more than one way; the marks decided",)
    assert np.max(deck_error(found, truth)) < 0.05


def _all_but(*cut: str) -> tuple[str, ...]:
    openings = (*PLAN.bores, *PLAN.fastener_holes, *PLAN.dowels, *PLAN.ports)
    return tuple(opening.name for opening in openings if opening.name not in cut)


def test_three_holes_lay_a_print_whose_marks_confirm_them():
    uncut = _all_but(PLAN.bores[0].name, PLAN.dowels[0].name, PLAN.fastener_holes[8].name)
    picture, truth = draw_print(PLAN, Scene(rotation=35, missing=uncut))
    found = register(picture, PLAN)
    assert found.hole_count == 3
    assert any("only 3 holes lay the sheet" in note for note in found.notes)
    assert np.max(deck_error(found, truth)) < 0.1


def test_three_holes_without_marks_lay_nothing():
    uncut = _all_but(PLAN.bores[0].name, PLAN.dowels[0].name, PLAN.fastener_holes[8].name)
    picture, _ = draw_print(PLAN, Scene(rotation=35, missing=uncut, marks=False))
    with pytest.raises(RegistrationError, match="3 holes were found"):
        register(picture, PLAN)


def test_one_hole_off_symmetry_is_enough_and_said():
    dowel = PLAN.dowels[0]
    plan = inline_four(symmetric=True).model_copy(update={"dowels": (dowel,)})
    picture, truth = draw_print(plan, Scene(rotation=20, mirrored=True))
    found = register(picture, plan)
    assert any("nearly fit in another way" in note for note in found.notes)
    assert np.max(deck_error(found, truth)) < 0.05


def test_stated_face_settles_a_deck_that_is_its_own_mirror_image():
    symmetric = inline_four(symmetric=True)
    rear = [
        hole.model_copy(update={"centre": (hole.centre[0] - 9.0, hole.centre[1])})
        for hole in symmetric.fastener_holes[-2:]
    ]
    plan = symmetric.model_copy(update={"fastener_holes": (*symmetric.fastener_holes[:-2], *rear)})
    picture, truth = draw_print(plan, Scene(rotation=20, mirrored=True))
    with pytest.raises(RegistrationError, match="in 2 ways"):
        register(picture, plan)
    found = register(picture, plan, mirrored=True)
    assert np.max(deck_error(found, truth)) < 0.05


def test_stated_face_is_not_believed_against_the_holes():
    picture, _ = draw_print(PLAN, Scene(rotation=20, mirrored=True, marks=False))
    assert register(picture, PLAN, mirrored=True).mirrored
    with pytest.raises(
        RegistrationError, match=r"stated to be not mirrored, but .* only if it is"
    ) as refused:
        register(picture, PLAN, mirrored=False)
    assert "mirrored" in refused.value.remedy


def test_plan_of_a_sister_deck_is_doubted():
    picture, _ = draw_print(PLAN, Scene(rotation=20))
    fewer = PLAN.model_copy(update={"ports": PLAN.ports[:4], "seals": PLAN.seals[:12]})
    found = register(picture, fewer)
    assert any("8 of 28 holes lie where the plan has no opening" in note for note in found.notes)


def test_plan_that_ends_before_the_sheet_does_is_doubted():
    three = inline_four(count=3, ports=9)
    picture, _ = draw_print(three, Scene(rotation=20))
    two = three.model_copy(
        update={
            "outline": ((0.0, 0.0), (218.0, 0.0), (218.0, 190.0), (0.0, 190.0)),
            "bores": three.bores[:2],
            "fastener_holes": three.fastener_holes[:6],
            "dowels": three.dowels[:1],
            "ports": three.ports[:6],
            "seals": three.seals[:4],
        }
    )
    found = register(picture, two)
    assert any("of the sheet lies far beyond the deck's outline" in note for note in found.notes)


def test_scale_and_rotation_are_reported_per_axis():
    picture, _ = draw_print(PLAN, Scene(rotation=0, scale=(1.01, 0.99)))
    found = register(picture, PLAN)
    assert found.scale_x == pytest.approx(1 / 1.01, abs=2e-4)
    assert found.scale_y == pytest.approx(1 / 0.99, abs=2e-4)
    assert found.rotation_deg == pytest.approx(0.0, abs=0.02)


def test_crowns_beside_their_lines_are_reported_and_do_not_bend_the_pose():
    offsets = {"ring bore 1": 0.12, "bead bore 1": -0.1, "bead bore 2": 0.1, "bead bore 3": -0.12}
    picture, truth = draw_print(PLAN, Scene(rotation=20, offset=offsets))
    found = register(picture, PLAN)
    assert np.max(deck_error(found, truth)) < 0.05
    for name, offset in offsets.items():
        if name in found.seal_offsets:
            assert found.seal_offsets[name] == pytest.approx(offset, abs=0.05)
    assert len(found.seal_offsets.keys() & offsets.keys()) >= 3


def test_places_go_to_the_picture_and_back():
    picture, _ = draw_print(PLAN, Scene(rotation=77, mirrored=True))
    found = register(picture, PLAN)
    places = np.array([[0.0, 0.0], [400.0, 20.0], [200.0, 190.0]])
    assert found.to_deck(found.to_picture(places)) == pytest.approx(places, abs=1e-9)


def test_wrong_deck_is_refused_with_what_was_found():
    picture, _ = draw_print(PLAN, Scene(rotation=10))
    other = inline_four(pitch=92.0, ports=9, name="another")
    with pytest.raises(RegistrationError, match="does not fit the deck plan 'another'") as refused:
        register(picture, other)
    assert len(refused.value.sheet.holes) == len(PLAN.openings)


def test_blank_print_is_registered_on_holes_alone_and_says_so():
    picture, truth = draw_print(PLAN, Scene(rotation=10, marks=False))
    found = register(picture, PLAN)
    assert any("holes carry the fit alone" in note for note in found.notes)
    error = deck_error(found, truth)
    assert np.max(error) < 0.5
    corners = found.uncertainty_at([[0.0, 0.0], [414.0, 190.0]])
    assert np.all((corners > 0.05) & (corners < 0.5))
