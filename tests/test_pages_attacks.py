"""What somebody who means harm can send to the pages: refused, noted in one line, nothing lost."""

from __future__ import annotations

import hashlib
import http.client
import io
import json
import logging
import socket
import struct
import time
import zipfile
import zlib
from urllib.parse import quote, urlsplit

import pytest

from firedeck.web.lines import Limits
from tests.support import chromium, pages

SCRIPT = "<img src=x onerror=\"document.title='taken'\"><script>document.title='taken'</script>"

#: Wait of the server for what comes slowly, short for these tests [s].
PATIENCE = 1.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return pages.bench(tmp_path_factory.mktemp("attacked") / "bench")


@pytest.fixture(scope="module")
def address(folder):
    with pages.served(folder, largest_import=3_000_000, patience=PATIENCE) as found:
        yield found


@pytest.fixture(scope="module")
def page(address):
    with chromium.browser() as browser:
        yield browser.new_page(base_url=address)


def ask(address, path, *, method="GET", body=None, **headers):
    where = urlsplit(address)
    wire = http.client.HTTPConnection(where.hostname, where.port, timeout=60)
    wire.request(method, path, body=body, headers=headers)
    answer = wire.getresponse()
    text = answer.read()
    wire.close()
    return answer.status, text


def state(folder):
    """Return the content of every file in and beside the folder."""
    return {
        str(path): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.parent.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def unharmed(folder):
    before = state(folder)
    yield
    assert state(folder) == before


FORGED = "x\n2026-01-01 all is well.tif"
REFUSED = {
    "a path out of the folder": ("PUT", "/import/" + quote("../out.tif", safe=""), b"x", {}),
    "a path out of the folder, coded twice": ("PUT", "/import/%252e%252e%252fout.tif", b"x", {}),
    "a name that forges a line": ("PUT", "/import/" + quote(FORGED, safe=""), b"x", {}),
    "a program": ("PUT", "/import/run.sh", b"x", {}),
    "an archive": ("PUT", "/import/bomb.zip", b"x", {}),
    "a change from elsewhere": ("PUT", "/import/a.tif", b"x", {"Origin": "http://elsewhere.example"}),
    "a change from nowhere": ("POST", "/new-test", b"file=a", {"Origin": "null"}),
    "a foreign name": ("GET", "/", None, {"Host": "bench.example"}),
    "too much, declared": ("PUT", "/import/a.tif", b"x" * 3_000_001, {}),
    "too much, not declared": ("PUT", "/import/a.tif", [b"x" * 100_000] * 31, {}),
    "a form without end": ("POST", "/new-test", [b"x" * 50_000] * 5, {}),
    "an order without end": ("POST", "/jobs", [b"x" * 5000] * 2, {}),
    "landmarks without end": ("POST", "/film/print-1/lay/landmarks", [b"x" * 100_000] * 3, {}),
}


@pytest.mark.parametrize("attack", REFUSED)
def test_each_is_refused_and_noted_in_one_line(address, unharmed, caplog, attack):
    method, path, body, headers = REFUSED[attack]
    sent = iter(body) if isinstance(body, list) else body
    with caplog.at_level(logging.WARNING, logger="firedeck.web"):
        try:
            status, _ = ask(address, path, method=method, body=sent, **{"Origin": address, **headers})
            assert 400 <= status < 500
        except (BrokenPipeError, ConnectionResetError):
            pass  # answered and hung up on before all was sent: the line below says so
    lines = [record.getMessage() for record in caplog.records if record.name == "firedeck.web"]
    assert len(lines) == 1
    assert lines[0].startswith(f"refused: {method}, 4")
    assert "\n" not in lines[0]
    assert not any(part in lines[0] for part in ("well", "out.tif", "elsewhere", "bench.example"))


def test_what_drips_in_is_given_up_and_others_are_answered_meanwhile(address, unharmed):
    where = urlsplit(address)
    head = f"Host: {where.netloc}\r\nOrigin: {address}\r\nContent-Length: 100000\r\n\r\n".encode()
    silent = [socket.create_connection((where.hostname, where.port), timeout=20) for _ in range(20)]
    for one in silent:
        one.sendall(b"PUT /import/slow.tif HTTP/1.1\r\n" + head + b"x")
    drip = socket.create_connection((where.hostname, where.port), timeout=20)
    drip.sendall(b"PUT /import/drip.tif HTTP/1.1\r\n" + head)
    start = time.monotonic()
    assert ask(address, "/cautions")[0] == 200
    assert time.monotonic() - start < PATIENCE + 4
    drip.settimeout(0.1)
    answer = b""
    while not answer and time.monotonic() - start < 20:
        try:
            drip.sendall(b"x")
            answer = drip.recv(100)
        except TimeoutError:
            continue
    assert answer.startswith(b"HTTP/1.1 408")
    for one in silent:
        assert one.recv(100).startswith(b"HTTP/1.1 408")
        one.close()
    drip.close()


@pytest.fixture(scope="module")
def strained(tmp_path_factory):
    """Pages that bear little: half a second of silence, a dozen connections."""
    with pages.served(tmp_path_factory.mktemp("strained"), limits=Limits(patience=0.5, most=12)) as found:
        yield found


def connected(address):
    where = urlsplit(address)
    return socket.create_connection((where.hostname, where.port), timeout=20)


def noted(caplog):
    return [record.getMessage() for record in caplog.records if record.name == "firedeck.web"]


def test_a_head_that_drips_in_is_hung_up_on_however_steadily_it_drips(strained, caplog):
    answer, start = b"", time.monotonic()
    with caplog.at_level(logging.WARNING, logger="firedeck.web"), connected(strained) as drip:
        drip.settimeout(0.05)
        drip.sendall(b"GET / HTTP/1.1\r\nX-Slow: ")
        while not answer and time.monotonic() - start < 10:
            try:
                drip.sendall(b"x")
                answer = drip.recv(100)
            except TimeoutError:
                continue
    assert answer.startswith(b"HTTP/1.1 408")
    assert 0.4 < time.monotonic() - start < 5
    assert noted(caplog) == ["refused: a request whose head did not come in time, 408"]


def test_those_who_connect_and_never_ask_make_room_for_those_who_do(strained, caplog):
    with caplog.at_level(logging.WARNING, logger="firedeck.web"):
        silent = [connected(strained) for _ in range(40)]
        assert ask(strained, "/cautions")[0] == 200
        told = [one.recv(100) for one in silent]
    hung_up = [text for text in told if text.startswith(b"HTTP/1.1 503")]
    assert len(hung_up) >= 40 - 12
    assert set(told) <= {b"", *hung_up}, "in the end nobody is waited for"
    assert noted(caplog) == ["refused: a connection, as too many stand open, 503"] * len(hung_up)
    for one in silent:
        one.close()


def bomb_tiff():
    """A picture of 60 000 by 60 000 pixels in a kilobyte, all noughts packed."""
    strip = zlib.compress(bytes(1_000_000), 9)
    tags = [
        (256, 4, 1, 60_000), (257, 4, 1, 60_000), (258, 3, 1, 8), (259, 3, 1, 8), (262, 3, 1, 1),
        (273, 4, 1, 8), (277, 3, 1, 1), (278, 4, 1, 60_000), (279, 4, 1, len(strip)),
    ]  # fmt: skip
    entries = b"".join(struct.pack("<HHII", *tag) for tag in tags)
    place = 8 + len(strip)
    return struct.pack("<2sHI", b"II", 42, place) + strip + struct.pack("<H", len(tags)) + entries + bytes(4)


def bomb_zip():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("scan.tif", bytes(50_000_000))
    return out.getvalue()


@pytest.mark.parametrize("bomb", [bomb_tiff, bomb_zip])
def test_a_bomb_in_a_scans_clothes_is_refused_by_the_work_in_plain_words(address, folder, bomb):
    before = state(folder)
    content = bomb()
    assert len(content) < 100_000
    assert ask(address, "/import/bomb.tif", method="PUT", body=content, Origin=address)[0] == 201
    text = (folder / "print-2.toml").read_text(encoding="utf-8")
    scan = next(path.name for path in sorted(folder.glob("*.tif")) if f'"{path.name}"' in text)
    record = text.replace(f'"{scan}"', '"bomb.tif"').encode()
    assert ask(address, "/import/bombed.toml", method="PUT", body=record, Origin=address)[0] == 201
    order = json.dumps({"what": "lay", "names": ["bombed.toml"]})
    status, told = ask(address, "/jobs", method="POST", body=order, Origin=address)
    assert status == 202
    key = json.loads(told)["key"]
    end = time.monotonic() + 120
    job = {"state": "waiting"}
    while job["state"] in ("waiting", "running"):
        assert time.monotonic() < end
        time.sleep(0.1)
        job = json.loads(ask(address, f"/jobs/{key}")[1])
    assert job["state"] == "failed"
    assert "bomb.tif" in job["fault"]["where"] + job["fault"]["message"]
    assert "fault of its own" not in job["fault"]["message"]
    for name in ("bomb.tif", "bombed.toml"):
        (folder / name).unlink()
    assert state(folder) == before


def with_scripts(text):
    """Put a script into every name, note and label of a definition."""
    lines = []
    for line in text.splitlines():
        key = line.partition("=")[0].strip()
        telling = key in (
            "name",
            "note",
            "operator",
            "label",
            "reason",
            "source",
            "material",
            "lot",
            "revision",
        )
        lines.append(f"{key} = '''{SCRIPT}{len(lines)}'''" if telling else line)
    return "\n".join(lines) + "\n"


def harmless(page, path):
    assert page.title() != "taken", path
    assert page.locator("img[src=x]").count() == 0, path


#: Every kind of definition that the bench holds, and the pages on which its texts are shown.
SHOWN = {
    "print-1": ["/film/{}", "/film/{}/lay", "/new-test?like={}.toml", "/file/{}", "/against/print-1/{}"],
    "deck": ["/deck/{}"],
    "factory": ["/gasket/{}", "/deck/deck?gasket={}"],
    "film": ["/file/{}"],
    "calibration": ["/calibration/{}", "/file/{}", "/new-calibration?like={}.toml"],
}


def test_scripts_in_every_text_of_every_definition_stay_text(folder, page):
    asked = ["/"]
    for name, places in SHOWN.items():
        text = with_scripts((folder / f"{name}.toml").read_text(encoding="utf-8"))
        assert SCRIPT in text
        (folder / f"evil-{name}.toml").write_text(text, encoding="utf-8")
        asked += [place.format(f"evil-{name}") for place in places]
    try:
        for path in asked:
            assert page.goto(path).status == 200, path
            page.wait_for_load_state("networkidle" if "/deck/" in path or "/gasket/" in path else "load")
            harmless(page, path)
            if path == "/":
                assert SCRIPT in page.locator("body").inner_text(), "shown, as what it is"
        page.goto("/new-test?like=" + quote(SCRIPT, safe=""))
        harmless(page, "a name that is none")
    finally:
        for name in SHOWN:
            (folder / f"evil-{name}.toml").unlink()


def test_scripts_in_every_box_of_the_record_form_stay_text(page, unharmed):
    page.goto("/new-test")
    boxes = "form input[type=text], form input:not([type]), form textarea"
    count = page.evaluate(
        """([boxes, text]) => { const all = [...document.querySelectorAll(boxes)];
        for (const one of all) one.value = text;
        return all.length; }""",
        [boxes, SCRIPT],
    )
    assert count > 5
    with page.expect_navigation():
        page.get_by_role("button", name="Write the record").click()
    harmless(page, "the form sent")
    shown = page.evaluate("boxes => [...document.querySelectorAll(boxes)].map((one) => one.value)", boxes)
    assert SCRIPT in shown


def test_scripts_in_landmarks_are_no_landmarks(address, folder, unharmed):
    known = hashlib.sha256((folder / "print-1.toml").read_bytes()).hexdigest()
    for landmark in ({"scan": SCRIPT, "pixel": [1, 2], "plan": SCRIPT}, SCRIPT, [SCRIPT]):
        body = json.dumps({"landmarks": [landmark], "known": known})
        status, _ = ask(address, "/film/print-1/lay/landmarks", method="POST", body=body, Origin=address)
        assert status in (400, 422)


def test_a_script_in_the_reason_of_a_mask_stays_text(address, folder, page):
    record = folder / "print-1.toml"
    before = record.read_bytes()
    known = json.loads(ask(address, "/film/print-1/masks")[1])["known"]
    mask = {"reason": SCRIPT, "path": [[10, 10], [20, 10], [20, 20]]}
    body = json.dumps({"masks": [mask], "known": known})
    try:
        status, _ = ask(address, "/film/print-1/masks", method="POST", body=body, Origin=address)
        assert status == 200
        assert json.loads(ask(address, "/film/print-1/masks")[1])["masks"][0]["reason"] == SCRIPT
        page.goto("/film/print-1")
        page.wait_for_selector("#film[data-ready=yes]")
        harmless(page, "the page of a print with a mask")
    finally:
        record.write_bytes(before)
