"""Jobs beside the pages: order, end, faults, and what a worker leaves behind."""

from __future__ import annotations

import errno
import signal
import threading
import time

import pytest

from firedeck.errors import FiredeckError
from firedeck.scenario.engine import engine_plan, write_text
from firedeck.study.bench import Bench
from firedeck.web import worker
from firedeck.web.example import lay_out_example
from firedeck.web.jobs import Job, JobBook
from firedeck.web.worker_start import start_worker
from tests import prediction_bench
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


def test_a_job_that_the_system_has_no_room_for_fails_and_the_next_is_begun(book, monkeypatch):
    def full(*_):
        raise BlockingIOError(errno.EAGAIN, "Resource temporarily unavailable")

    with monkeypatch.context() as patch:
        patch.setattr("firedeck.web.jobs.start_worker", full)
        first = book.add(Job("read", ("a.toml",), "Reading a", "/film/a"))
        wait_for(first, "failed")
    assert "could not be started (resource temporarily unavailable)" in first.fault["message"]
    second = book.add(Job("read", ("b.toml",), "Reading b", "/film/b"))
    wait_for(second, "failed")
    assert second.fault["where"] == "b.toml"


def test_jobs_have_the_environment_that_the_server_has_when_they_begin(book, tmp_path, monkeypatch):
    # The process that they are begun from may be older than what the environment says now.
    wait_for(book.add(Job("read", ("a.toml",), "Reading a", "/film/a")), "failed")
    prediction_bench.write_bench(tmp_path)
    monkeypatch.setenv("FIREDECK_CACHE", str(tmp_path / "kept"))
    job = book.add(Job("condense", ("prediction.toml",), "Condensing", "/clamp/prediction"))
    wait_for(job, "done", "failed")
    assert job.fault is None
    assert list((tmp_path / "kept").iterdir())


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


def test_a_job_that_is_cancelled_while_it_is_being_started_is_stopped(book, monkeypatch):
    before = sorted(small_print.bench_files(book.folder).iterdir())
    begun, go, started = threading.Event(), threading.Event(), []

    def slowly(*arguments):
        begun.set()
        assert go.wait(60)
        started.append(start_worker(*arguments))
        return started[0]

    monkeypatch.setattr("firedeck.web.jobs.start_worker", slowly)
    job = book.add(Job("read", ("print-1.toml",), "Reading print-1", "/film/print-1"))
    assert begun.wait(60)
    book.cancel(job)
    assert job.state == "cancelled"
    go.set()
    following = book.add(Job("read", ("lost.toml",), "Reading lost", "/film/lost"))
    wait_for(following, "failed")
    assert job.state == "cancelled"
    assert started[0][0].exitcode in (-signal.SIGTERM, 128 + signal.SIGTERM)
    assert sorted(book.folder.iterdir()) == before


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


def test_a_print_that_is_not_this_deck_is_refused_with_a_picture(tmp_path):
    folder = small_print.bench_files(tmp_path / "bench")
    other_deck(folder)
    messages = []
    assert worker.work("read", folder, ["print-1.toml"], messages.append) == 2
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
    messages = []
    assert worker.work("broken", tmp_path, [], messages.append) == 3
    [told] = messages
    assert "fault of its own" in told["fault"]["message"]
    assert "inner words" not in str(told)
    captured = capsys.readouterr()
    assert "inner words" not in captured.out
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
