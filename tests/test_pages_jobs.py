"""Jobs beside the pages: order, end, faults, and what a worker leaves behind."""

from __future__ import annotations

import json
import time

import pytest

from firedeck.errors import FiredeckError
from firedeck.scenario.engine import engine_plan, write_text
from firedeck.study.bench import Bench
from firedeck.web import worker
from firedeck.web.example import lay_out_example
from firedeck.web.jobs import Job, JobBook
from tests.support import small_print


@pytest.fixture
def book(tmp_path):
    found = JobBook(tmp_path)
    yield found
    found.close()


def wait_for(job, *states):
    end = time.monotonic() + 120
    while job.state not in states:
        assert time.monotonic() < end, job
        time.sleep(0.02)


def test_a_failed_job_tells_what_to_mend(book):
    job = book.add(Job("read", ("lost.toml",), "Reading lost", "/film/lost"))
    wait_for(job, "failed")
    assert "nothing of that name" in job.fault["message"]
    assert job.fault["where"] == "lost.toml"
    assert job.plain()["state"] == "failed"


def test_the_same_work_is_not_begun_twice_and_what_waits_can_be_cancelled(book):
    first = book.add(Job("read", ("a.toml",), "Reading a", "/film/a"))
    second = book.add(Job("read", ("b.toml",), "Reading b", "/film/b"))
    assert book.add(Job("read", ("b.toml",), "Reading b", "/film/b")) is second
    book.cancel(second)
    wait_for(first, "failed")
    time.sleep(0.2)
    assert second.state == "cancelled"
    assert second.fault is None
    assert book.add(Job("read", ("b.toml",), "Reading b", "/film/b")) is not second
    assert book.all()[-1] is first


def test_too_many_waiting_jobs_are_refused(book):
    def add(number):
        return book.add(Job("read", (f"{number}.toml",), "Reading", "/"))

    added = []
    with pytest.raises(FiredeckError, match="too many"):
        added.extend(add(number) for number in range(60))
    for job in book.all():
        book.cancel(job)
    assert all(job.ended for job in book.all())


def other_deck(bench):
    """Put another engine's deck plan in the place of the bench's own."""
    (bench / "deck.toml").write_text(write_text(engine_plan()), encoding="utf-8")


def told(capsys):
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_print_that_is_not_this_deck_is_refused_with_a_picture(tmp_path, capsys):
    folder = small_print.bench_files(tmp_path / "bench")
    other_deck(folder)
    assert worker.main(["read", str(folder), "print-1.toml"]) == 2
    messages = told(capsys)
    shares = [message["share"] for message in messages if "share" in message]
    assert shares == sorted(shares)
    assert 0.0 < shares[-1] < 1.0
    pictures = [message["picture"] for message in messages if "picture" in message]
    assert messages[-1]["fault"]["remedy"]
    assert pictures == ["print-1-report-refused.png"]
    assert (folder / pictures[0]).read_bytes().startswith(b"\x89PNG")
    assert not (folder / "print-1-report").exists()


def test_a_fault_of_our_own_is_told_in_plain_words(tmp_path, capsys, monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("inner words")

    monkeypatch.setitem(worker.JOBS, "broken", broken)
    assert worker.main(["broken", str(tmp_path)]) == 3
    captured = capsys.readouterr()
    assert "inner words" not in captured.out
    assert "fault of its own" in json.loads(captured.out)["fault"]["message"]
    assert "inner words" in captured.err


def test_the_example_is_laid_out_in_an_empty_folder_only(tmp_path, monkeypatch):
    # The engine of the example takes half a minute to draw; the small print stands in for it.
    monkeypatch.setattr("firedeck.web.example.write_demo", small_print.bench_files)
    steps = []
    lay_out_example(Bench(tmp_path), progress=lambda what, share: steps.append(share))
    assert {"deck.toml", "calibration.toml", "print-1.toml"} <= {path.name for path in tmp_path.iterdir()}
    assert not [path.name for path in tmp_path.iterdir() if path.name.startswith(".")]
    assert steps[-1] == 1.0
    before = sorted(path.name for path in tmp_path.iterdir())
    with pytest.raises(FiredeckError, match="already"):
        lay_out_example(Bench(tmp_path), progress=lambda *_: None)
    assert sorted(path.name for path in tmp_path.iterdir()) == before
