"""The folder of condensed bodies: whole files or none, old versions unseen, other processes, limit."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from firedeck.contact import Joint, tighten
from firedeck.contact import body as body_module
from firedeck.files.condensed_store import CondensedStore
from tests.contact_joints import square_gasket, square_plan, square_seats, square_sections

ARRAYS = {"stiffness": np.arange(6.0).reshape(2, 3), "arriving": np.ones(4)}


def build(store):
    plan = square_plan()
    return Joint.build(
        plan, square_sections(), square_gasket(plan), square_seats(plan), pitch=12.0, reach=20.0, store=store
    )


def test_arrays_come_back_as_they_went(tmp_path):
    store = CondensedStore(tmp_path / "new" / "folder")
    assert store.get("a") is None
    store.put("a", ARRAYS)
    back = store.get("a")
    assert set(back) == set(ARRAYS)
    assert all(np.array_equal(back[name], ARRAYS[name]) for name in ARRAYS)
    assert store.get("b") is None


def test_a_joint_from_the_store_is_the_same_joint(tmp_path):
    store = CondensedStore(tmp_path)
    fresh = build(store)
    kept = sorted(path.name for path in tmp_path.iterdir())
    assert kept == sorted(f"{body.key}.npz" for body in fresh.condensed)
    again = build(store)
    assert np.array_equal(again.pair.stiffness, fresh.pair.stiffness)
    wanted = {seat.name: 12e3 for seat in fresh.seats}
    states = [tighten(joint, wanted, shares=(1.0,))[-1] for joint in (fresh, again)]
    assert np.array_equal(states[0].tension, states[1].tension)


@pytest.mark.parametrize("damage", ["cut", "empty", "noise", "missing array"])
def test_a_damaged_file_counts_as_absent_and_is_written_again(tmp_path, damage):
    store = CondensedStore(tmp_path)
    fresh = build(store)
    for path in tmp_path.glob("*.npz"):
        data = path.read_bytes()
        if damage == "missing array":
            with path.open("wb") as file:
                np.savez(file, stiffness=fresh.pair.stiffness)
        else:
            path.write_bytes({"cut": data[: len(data) // 2], "empty": b"", "noise": os.urandom(4000)}[damage])
    again = build(store)
    assert np.array_equal(again.pair.stiffness, fresh.pair.stiffness)
    assert set(store.get(again.condensed[0].key)) == {"stiffness", "arriving", "flexibility"}


def test_whatever_bit_of_a_file_flips_the_arrays_are_right_or_absent(tmp_path):
    store = CondensedStore(tmp_path)
    store.put("a", ARRAYS)
    (file,) = tmp_path.glob("*.npz")
    whole = file.read_bytes()
    seen = {"right": 0, "absent": 0}
    for place in range(len(whole)):
        file.write_bytes(whole[:place] + bytes([whole[place] ^ (1 << place % 8)]) + whole[place + 1 :])
        back = store.get("a")
        # A name that the headers lost is missed by whoever asks for the body.
        right = back is not None and all(np.array_equal(back[name], ARRAYS[name]) for name in back)
        assert right or back is None
        store.is_sound(file)  # never ends the program either
        seen["right" if right else "absent"] += 1
    assert min(seen.values()) > 0


def test_other_rules_have_another_key(tmp_path, monkeypatch):
    store = CondensedStore(tmp_path)
    before = {body.key for body in build(store).condensed}
    monkeypatch.setattr(body_module, "_RULES", body_module._RULES + " changed")
    after = {body.key for body in build(store).condensed}
    assert not before & after
    assert len(list(tmp_path.glob("*.npz"))) == 4


WRITER = """
import sys
import numpy as np
from pathlib import Path
from firedeck.files.condensed_store import CondensedStore
store = CondensedStore(Path(sys.argv[1]), limit=400_000)
for turn in range(40):
    key = f"key{turn % 4}"
    store.put(key, {"a": np.full(10_000, float(turn % 4))})
    back = store.get(f"key{(turn + 1) % 4}")
    assert back is None or np.all(back["a"] == (turn + 1) % 4)
"""


def test_several_processes_share_the_folder(tmp_path):
    command = [sys.executable, "-c", WRITER, str(tmp_path)]
    running = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for _ in range(3)]
    said = [process.communicate(timeout=120)[1] for process in running]
    assert [process.returncode for process in running] == [0, 0, 0], said
    assert not list(tmp_path.glob("*.part"))
    store = CondensedStore(tmp_path)
    held = [(key, store.get(key)) for key in (f"key{k}" for k in range(4))]
    assert any(arrays is not None for _, arrays in held)
    assert all(np.all(arrays["a"] == float(key[-1])) for key, arrays in held if arrays is not None)


def test_what_was_used_longest_ago_goes_first(tmp_path):
    store = CondensedStore(tmp_path, limit=3 * 8_500)
    for k, key in enumerate("abc"):
        store.put(key, {"a": np.ones(1000)})
        os.utime(tmp_path / f"{key}.npz", ns=(k, k))
    store.get("a")  # used now
    store.put("d", {"a": np.ones(1000)})
    assert {path.stem for path in tmp_path.glob("*.npz")} == {"a", "c", "d"}


def test_the_newest_stays_even_beyond_the_limit(tmp_path):
    store = CondensedStore(tmp_path, limit=10)
    store.put("a", ARRAYS)
    store.put("b", ARRAYS)
    assert {path.stem for path in tmp_path.glob("*.npz")} == {"b"}


def test_an_unwritable_folder_is_no_reason_to_stop(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    store = CondensedStore(blocked)
    assert store.get("a") is None
    assert build(store).condensed[0].key
