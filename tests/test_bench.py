"""The command that runs every benchmark: what it finds and prints, and what its exit code says."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench import __main__ as bench
from tests.bench.machine import machine, versions
from tests.bench.rows import Row, tenfold
from tests.bench.table import WIDTH, lines, markdown
from tests.bench.watched import run

HERE = Path(__file__).parents[1]
FACTS = {"machine": machine(), "versions": versions()}


def test_ten_times_the_work_is_told_by_the_power_law_through_two_amounts():
    assert tenfold(2.0, 20.0, 10) == pytest.approx(10)
    assert tenfold(3.0, 3.0, 7) == pytest.approx(1)
    assert tenfold(1.0, 4.0, 2) == pytest.approx(100)


def test_a_row_is_kept_while_no_bar_is_crossed():
    assert Row("a").is_kept
    assert Row("a", ratio=1.3, at_most=1.3, memory_mb=10, memory_at_most_mb=20).is_kept
    assert not Row("a", ratio=1.31, at_most=1.3).is_kept
    assert not Row("a", ratio=1, at_most=1.3, memory_mb=21, memory_at_most_mb=20).is_kept
    assert not Row("a", failed=True).is_kept


LONG = Row(
    "measuring " * 12, "a thing with | in it " * 5, 1234.5, 1.5, 12345, 350, 1000.0, "told " * 20
)


def test_no_line_of_the_table_is_wider_than_a_hundred_columns_whatever_is_told():
    found = [bench.Told("a", [LONG, Row("short")]), bench.Told("b", reason="left out: " * 30)]
    table = lines(FACTS, found)
    assert max(map(len, table)) <= WIDTH
    whole = "\n".join(table)
    assert "1234.50 !> 1.5" in whole
    assert "b: left out" in whole


def test_the_table_as_markdown_has_as_many_cells_in_each_row():
    table = markdown(FACTS, [bench.Told("a", [LONG, Row("short")])])
    counts = {line.replace("\\|", "").count("|") for line in table if line.startswith("|")}
    assert counts == {6}


def test_a_program_over_its_limit_is_stopped_by_the_kernel_and_another_is_not():
    """Peak memory is the program's own, however much the process that started it holds."""
    ballast = bytearray(300_000_000)
    take = "import sys; kept = bytearray(int(sys.argv[1]) * 1_000_000)"
    within, beyond = run(["100"], 300, take), run(["500"], 300, take)
    assert len(ballast) == 300_000_000
    assert within.code == 0
    assert 100 < within.peak_mb < 160
    assert beyond.code != 0
    assert "MemoryError" in beyond.complaint or beyond.code < 0


def test_what_a_benchmark_needs_is_told_and_it_is_left_out_unless_asked_for(tmp_path, monkeypatch):
    (tmp_path / "far.py").write_text(
        'NEEDS = "a second machine"\n\n\ndef rows(quick):\n    yield None\n'
    )
    (tmp_path / "study.py").write_text('"""A study."""\n\n\ndef main():\n    pass\n')
    monkeypatch.setattr(bench, "HERE", tmp_path)
    assert bench.benchmarks() == {"far": "a second machine"}
    assert bench.others() == {"study": ("A study.", "")}


def test_every_benchmark_runs_small_and_tells_what_it_should(tmp_path):
    """In processes of its own, so that an import that is missing anywhere is found."""
    told = tmp_path / "told.json"
    command = [sys.executable, "-m", "tests.bench", "--quick", "--json", str(told)]
    done = subprocess.run(
        command,
        cwd=HERE,
        env=os.environ | {"PYTHONPATH": str(HERE)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert max(map(len, done.stdout.splitlines())) <= WIDTH
    found = json.loads(told.read_text())
    assert found["machine"]["cores"] and found["versions"]["lapsekit"]
    by_name = {each["name"]: each for each in found["benchmarks"]}
    assert by_name.keys() == bench.benchmarks().keys() | bench.others().keys()
    for each in by_name.values():
        assert bool(each["rows"]) != bool(each["reason"]), each
        for row in each["rows"]:
            assert row["stage"]
            assert row["ratio"] or row["memory_mb"] or row["tenfold"], row
