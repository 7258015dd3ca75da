"""What the pages' server answers, and above all what it does not."""

from __future__ import annotations

import gzip
import http.client
import json
import posixpath
import queue
import re
import socket
import threading
from pathlib import Path
from urllib.parse import quote, urlsplit

import numpy as np
import pytest

from firedeck.errors import FiredeckError
from firedeck.files.map_file import read_map
from firedeck.study.bench import Bench
from firedeck.study.prints.stored_reading import StoredReading
from firedeck.study.prints.tiles import TILE_CELLS, Pooling
from firedeck.web import serving
from firedeck.web.serving import server_of
from tests.support import pages


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return pages.bench(tmp_path_factory.mktemp("served") / "bench")


@pytest.fixture(scope="module")
def address(folder):
    with pages.served(folder, largest_import=100_000) as found:
        yield found


def ask(address, path, *, method="GET", body=None, **headers):
    """Send one request exactly as given and return status, headers and body."""
    where = urlsplit(address)
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=30)
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    connection.request(method, path, body=body, headers=named)
    answer = connection.getresponse()
    text = answer.read()
    connection.close()
    return answer.status, answer.headers, text


# --- who is answered ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["bench.example", "127.0.0.1.example:80", "localhost.example", "10.0.0.1", ""]
)
def test_a_foreign_name_that_points_here_is_refused(address, host):
    status, _, text = ask(address, "/", Host=host)
    assert status == 403
    assert b"loopback" in text


@pytest.mark.parametrize("path", ["/jobs", "/import/x.toml"])
@pytest.mark.parametrize("origin", ["http://elsewhere.example", "null", "https://127.0.0.1", None])
def test_changes_are_taken_from_own_pages_only(address, folder, path, origin):
    headers = {} if origin is None else {"Origin": origin}
    method = "POST" if path == "/jobs" else "PUT"
    status, _, _ = ask(address, path, method=method, body=b'{"what": "example"}', **headers)
    assert status == 403
    assert not (folder / "x.toml").exists()
    assert json.loads(ask(address, "/jobs")[2]) == {"jobs": []}


def test_another_site_cannot_load_data_from_here(address):
    headers = {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "no-cors", "Sec_Fetch_Dest": "script"}
    assert ask(address, "/film/print-1/data", **headers)[0] == 403
    visit = {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "navigate", "Sec_Fetch_Dest": "document"}
    assert ask(address, "/film/print-1", **visit)[0] == 200


def test_every_answer_keeps_the_browser_in(address):
    for path in ("/", "/film/print-1", "/static/film.js", "/nowhere"):
        headers = ask(address, path, Accept="text/html")[1]
        policy = headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy
        assert "http" not in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
    report = ask(address, "/film/print-1/report")[1]["Content-Security-Policy"]
    assert "script-src" not in report
    assert report.startswith("sandbox ")
    assert "allow-scripts" not in report


# --- names ------------------------------------------------------------------------------------------

HOSTILE = [
    "../secret.toml", "..", "/etc/passwd", "..\\secret.toml", "a/b.toml", ".hidden.toml", "con.toml",
    "a\0.toml", "a\n.toml", "-rf.toml", "~root.toml", "x" * 300 + ".toml", "", " .toml", "a..toml",
]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_no_paths(folder, name):
    (folder.parent / "secret.toml").write_text("kind = 'criteria'")
    with pytest.raises(FiredeckError):
        Bench(folder).place(name)


@pytest.mark.parametrize(
    "name", ["deck.toml", "Druck 2, Zyl. 1-4 (neu).tif", "größe.toml", "a.b.c.tiff", "x"]
)
def test_ordinary_names_are(folder, name):
    assert Bench(folder).place(name) == folder.resolve() / name


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_reach_nothing(address, folder, name):
    coded = quote(name, safe="")
    for path in (f"/film/{coded}", f"/film/print-1/file/{coded}", f"/deck/{coded}", f"/refused/{coded}"):
        assert ask(address, path)[0] in (404, 422), path
    before = sorted(path.name for path in folder.parent.rglob("*"))
    status, _, _ = ask(address, f"/import/{coded}", method="PUT", body=b"x", Origin=address)
    assert status in (404, 405, 422)
    assert sorted(path.name for path in folder.parent.rglob("*")) == before


def test_a_link_out_of_the_folder_is_not_followed(folder):
    (folder.parent / "outside.toml").write_text("kind = 'criteria'")
    link = folder / "link.toml"
    link.symlink_to(folder.parent / "outside.toml")
    try:
        with pytest.raises(FiredeckError, match="leads out"):
            Bench(folder).place("link.toml")
    finally:
        link.unlink()


def test_a_record_that_names_files_elsewhere_is_not_read(folder):
    text = (folder / "print-2.toml").read_text(encoding="utf-8")
    (folder / "stray.toml").write_text(text.replace("deck.toml", "../deck.toml"), encoding="utf-8")
    try:
        with pytest.raises(FiredeckError, match="outside the folder"):
            Bench(folder).check_inside("stray.toml")
    finally:
        (folder / "stray.toml").unlink()


# --- deck plans edited --------------------------------------------------------------------------------


def test_a_plan_is_changed_from_own_pages_only_and_by_orders_that_make_sense(address, folder):
    before = (folder / "deck.toml").read_bytes()
    seen = json.loads(ask(address, "/deck/deck/state")[2])["state"]["revision"]
    order = {"what": "delete", "key": "bore[1]", "seen": seen}
    for origin in ({}, {"Origin": "http://elsewhere.example"}):
        body = json.dumps(order)
        assert ask(address, "/deck/deck/edit", method="POST", body=body, **origin)[0] == 403
    for bad in (
        "x",
        "[]",
        "{}",
        json.dumps({"what": "move", "seen": seen}),
        json.dumps({**order, "what": "x"}),
    ):
        assert ask(address, "/deck/deck/edit", method="POST", body=bad, Origin=address)[0] == 400, bad
    far = {"what": "move", "key": "bore[1]", "shift": [1e999, 0], "seen": seen}
    assert ask(address, "/deck/deck/edit", method="POST", body=json.dumps(far), Origin=address)[0] == 400
    stale = json.dumps({**order, "seen": "0"})
    assert ask(address, "/deck/deck/edit", method="POST", body=stale, Origin=address)[0] == 422
    assert json.loads(ask(address, "/deck/deck/revision")[2])["revision"] == seen
    for name in HOSTILE:
        body = json.dumps({"file": name, "like": "deck"})
        assert ask(address, "/deck-new", method="POST", body=body, Origin=address)[0] in (404, 422), name
    assert (folder / "deck.toml").read_bytes() == before
    assert ask(address, "/deck/print-1/state")[0] == 404, "a film test is no deck plan"


# --- files brought in ----------------------------------------------------------------------------------


def bring(address, name, body, **headers):
    status, _, text = ask(address, f"/import/{name}", method="PUT", body=body, Origin=address, **headers)
    return status, json.loads(text)


def test_a_file_is_brought_in_whole_and_not_twice(address, folder):
    assert bring(address, "new.txt", b"one")[0] == 201
    assert (folder / "new.txt").read_bytes() == b"one"
    status, told = bring(address, "new.txt", b"two")
    assert status == 422
    assert "already" in told["fault"]["message"]
    assert (folder / "new.txt").read_bytes() == b"one"
    assert bring(address, "new.txt?replace=1", b"two")[0] == 201
    assert (folder / "new.txt").read_bytes() == b"two"
    assert not list(folder.glob(".import-*"))


@pytest.mark.parametrize("name", ["page.html", "run.sh", "x.svg", "reading.json", "deck"])
def test_only_what_firedeck_reads_is_brought_in(address, folder, name):
    assert bring(address, name, b"x")[0] == 422
    assert not (folder / name).exists()


def test_too_large_is_refused_said_or_unsaid(address, folder):
    assert bring(address, "big.tif", b"x" * 100_001)[0] == 413

    def parts():
        for _ in range(11):
            yield b"x" * 10_000

    status, told = bring(address, "big.tif", parts())
    assert status == 413
    assert "MB" in told["fault"]["message"]
    assert not (folder / "big.tif").exists()
    assert not list(folder.glob(".import-*"))


# --- numbers --------------------------------------------------------------------------------------------


def test_a_point_is_the_map_files_own_value(address, folder):
    stored = read_map(folder / "print-1-report" / "map.nc")
    clear = np.argwhere((stored.flags == 0) & np.isfinite(stored.value))
    assert len(clear) > 1000
    for row, col in clear[:: len(clear) // 7]:
        x, y = float(stored.grid.x[col]), float(stored.grid.y[row])
        told = json.loads(ask(address, f"/film/print-1/at?x={x}&y={y}")[2])
        assert told["pressure"] == pytest.approx(float(stored.value[row, col]), abs=1e-6)
        shift = stored.conversion.mode_shifts(stored.signal[row, col])
        together = float(np.hypot(stored.noise[row, col], np.sqrt(np.sum(shift**2))))
        assert told["standard"] == pytest.approx(together, rel=1e-6)
        assert "±" in told["text"]
        assert told["flags"] == []


@pytest.mark.parametrize("query", ["x=1", "x=a&y=2", ""])
def test_a_point_that_is_none_is_refused(address, query):
    assert ask(address, f"/film/print-1/at?{query}")[0] == 400


@pytest.mark.parametrize("point", ["x=1e9&y=0", "x=nan&y=0", "x=inf&y=1"])
def test_beyond_the_map_nothing_is_told(address, point):
    told = json.loads(ask(address, f"/film/print-1/at?{point}")[2])
    assert told["pressure"] is None


def stitched(reading, pooling, level, shape):
    """Put all tiles of a level together."""
    side = TILE_CELLS
    rows, cols = -(-shape[0] // side), -(-shape[1] // side)
    whole = np.zeros((rows * side, cols * side), np.uint16)
    for row in range(rows):
        for col in range(cols):
            data = gzip.decompress(reading.tile(pooling, level, col, row))
            part = np.frombuffer(data, "<u2", side * side).reshape(side, side)
            whole[row * side : (row + 1) * side, col * side : (col + 1) * side] = part
    return whole[: shape[0], : shape[1]]


def test_tiles_hold_the_map_to_half_a_count(folder):
    report = folder / "print-1-report"
    stored, reading = read_map(report / "map.nc"), StoredReading(report)
    tiles = stitched(reading, Pooling.MEAN, 0, stored.value.shape)[::-1]
    shown = tiles != 65535
    assert shown.mean() > 0.3
    assert np.abs(tiles[shown] * 0.005 - stored.value[shown]).max() <= 0.0026


def test_pooled_tiles_keep_mean_peak_and_gap(folder):
    reading = StoredReading(folder / "print-1-report")
    rows, cols = reading.map.grid.shape
    fine = stitched(reading, Pooling.MEAN, 0, (rows, cols)).astype(float)
    fine[fine == 65535] = np.nan
    fine = np.pad(fine, ((0, -rows % 4), (0, -cols % 4)), constant_values=np.nan)
    blocks = fine.reshape(fine.shape[0] // 4, 4, -1, 4).swapaxes(1, 2).reshape(fine.shape[0] // 4, -1, 16)
    whole = np.isfinite(blocks).all(axis=2)
    assert whole.sum() > 500
    for pooling, pooled in ((Pooling.MEAN, np.mean), (Pooling.HIGHEST, np.max), (Pooling.LOWEST, np.min)):
        coarse = stitched(reading, pooling, 2, whole.shape)
        assert np.abs(coarse[whole] - pooled(blocks[whole], axis=1)).max() <= 1.0, pooling


@pytest.mark.parametrize("tile", ["mean/0/99/0", "mean/9/0/0", "mean/-1/0/0", "worst/0/0/0", "mean/0/-1/0"])
def test_tiles_that_are_none_are_refused(address, tile):
    revision = json.loads(ask(address, "/film/print-1/data")[2])["revision"]
    assert ask(address, f"/film/print-1/tile/{revision}/{tile}")[0] in (404, 422)


def test_tiles_of_an_older_reading_are_gone(address):
    assert ask(address, "/film/print-1/tile/000000000000/mean/0/0/0")[0] == 410


def test_a_reading_knows_when_its_files_have_changed(folder):
    def current():
        return {test.file.name: test.current for test in Bench(folder).tests()}["print-1.toml"]

    assert current()
    deck = folder / "deck.toml"
    before = deck.read_bytes()
    try:
        deck.write_bytes(before + b"\n# changed\n")
        assert not current()
    finally:
        deck.write_bytes(before)
    assert current()


# --- how soon it answers ------------------------------------------------------------------------------


def test_no_answer_waits_until_the_browser_has_confirmed_a_part_of_it(folder, monkeypatch):
    told, begun = queue.Queue(), []

    def server(app):
        begun.append(server_of(app))
        return begun[0]

    monkeypatch.setattr(serving, "server_of", server)
    thread = threading.Thread(target=serving.serve, args=(folder,), kwargs={"tell": told.put}, daemon=True)
    thread.start()
    where = urlsplit(told.get(timeout=60))
    caller = http.client.HTTPConnection(where.hostname, where.port, timeout=60)
    try:
        caller.request("GET", "/cautions")
        assert caller.getresponse().read()
        (line,) = begun[0].server_state.connections
        sending = line.transport.get_extra_info("socket")
        assert sending.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    finally:
        caller.close()
        begun[0].should_exit = True
        thread.join(60)


def test_a_page_asks_at_once_for_all_that_its_scripts_import(address):
    page = ask(address, "/film/print-1")[2].decode()
    asked = set(re.findall(r'<link rel="modulepreload" href="/static/([^"]+)">', page))
    begun = set(re.findall(r'<script type="module" src="/static/([^"]+)">', page))
    assert begun == {"film.js", "paper.js"}
    assert asked | begun == begun.union(*(imports_of(address, name) for name in asked | begun))
    assert "vendor/leaflet/leaflet.js" in asked


def imports_of(address, name):
    """Return what one script says that it imports before it runs."""
    text = ask(address, f"/static/{name}")[2].decode()
    lines = [line for line in text.splitlines() if line.startswith("import ")]
    paths = [line.rsplit("'", 2)[1] for line in lines]
    return {posixpath.normpath(posixpath.join(posixpath.dirname(name), path)) for path in paths}


def test_leak_paths_lie_as_the_record_has_them(address, folder):
    known = json.loads((folder / "print-1-report" / "reading.json").read_text(encoding="utf-8"))
    revision = json.loads(ask(address, "/film/print-1/data")[2])["revision"]
    status, _, text = ask(address, f"/film/print-1/ways/{revision}")
    assert status == 200
    assert json.loads(text) == [leak["way"] for leak in known["leaks"]]
    assert any(leak["way"] for leak in known["leaks"])
    assert ask(address, "/film/print-1/ways/0123")[0] == 410


def test_a_folder_that_is_none_is_refused(tmp_path):
    with pytest.raises(FiredeckError, match="no such folder"):
        Bench(tmp_path / "nowhere")


def test_vendored_files_are_what_they_say():
    import hashlib
    from importlib import resources

    vendor = Path(str(resources.files("firedeck.web").joinpath("static", "vendor")))
    listed = {}
    for entry in json.loads((vendor / "vendor.json").read_text(encoding="utf-8")):
        assert {"name", "version", "licence"} <= set(entry)
        listed |= entry["files"]
    there = {path.relative_to(vendor).as_posix() for path in vendor.rglob("*") if path.is_file()}
    assert there == {*listed, "vendor.json"}
    for name, known in listed.items():
        assert hashlib.sha256((vendor / name).read_bytes()).hexdigest() == known
