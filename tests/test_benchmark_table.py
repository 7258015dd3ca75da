"""The table of figures: a miss is shown as a miss, a failure as a failure, and the file says so too."""

from __future__ import annotations

import json
import math
import types

import pytest

from benchmarks import __main__ as collector
from benchmarks import table

ROWS = [
    {"name": "read a scan", "value": 2.51, "unit": "s", "goal": "<= 3 s", "met": True,
     "against": "plain arrays", "ratio": 5.2},
    {"name": "find paths", "value": 9.0, "unit": "s", "goal": "<= 1.5 s", "met": False,
     "against": "component tree [one]", "ratio": 0.5},
]  # fmt: skip


def bench(figures):
    module = types.ModuleType("bench")
    module.figures = figures
    return module


def test_table_shows_hits_and_misses(capsys):
    table.show_figures("Benchmarks", table.as_figures(ROWS))
    shown = capsys.readouterr().out
    assert [word in shown for word in ("met", "MISSED", "2.51 s", "component tree [one]")] == [True] * 4
    assert "1 of 2 goals met" in shown


def test_file_holds_every_figure(tmp_path):
    path = tmp_path / "deep" / "bench.json"
    figures = [*table.as_figures(ROWS), table.failed_figure("swap", ValueError("no luck"))]
    table.write_figures(path, "benchmarks", figures)
    record = json.loads(path.read_text(encoding="utf-8"))
    assert [row["name"] for row in record["figures"]] == ["read a scan", "find paths", "swap"]
    assert record["figures"][1] == ROWS[1] | {"note": ""}
    assert record["figures"][2]["value"] is None
    assert record["figures"][2]["met"] is False
    assert "no luck" in record["figures"][2]["note"]


def test_unknown_key_is_an_error():
    with pytest.raises(TypeError, match="speed"):
        table.as_figures([{"name": "a", "value": 1.0, "unit": "s", "speed": 3}])


@pytest.mark.parametrize(("sound", "code"), [(True, 0), (False, 1)])
def test_collector_goes_on_after_a_failure_and_tells(monkeypatch, tmp_path, capsys, sound, code):
    def broken():
        raise RuntimeError("out of memory")

    benches = {
        "benchmarks.bench_a": bench(broken if not sound else list),
        "benchmarks.bench_b": bench(lambda: ROWS),
    }
    monkeypatch.setattr(collector, "bench_names", lambda wanted: ["bench_a", "bench_b"])
    monkeypatch.setattr(collector.importlib, "import_module", benches.__getitem__)
    monkeypatch.setattr(collector, "RESULT", tmp_path / "bench.json")
    assert collector.main([]) == code
    shown = capsys.readouterr().out
    assert ("FAILED" in shown) is not sound
    assert "MISSED" in shown
    assert len(json.loads((tmp_path / "bench.json").read_text())["figures"]) == (2 if sound else 3)


def test_nothing_to_run_is_told(monkeypatch, capsys):
    monkeypatch.setattr(collector, "bench_names", lambda wanted: [])
    assert collector.main(["nothing"]) == 2
    assert "no benches" in capsys.readouterr().out


def test_names_are_chosen_by_word():
    every = collector.bench_names([])
    assert all(name.startswith("bench_") for name in every)
    assert collector.bench_names(["no such bench"]) == []
    assert math.isnan(table.failed_figure("a", ValueError("b")).value)
