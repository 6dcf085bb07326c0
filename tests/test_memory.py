"""How many things fit into memory at once, and what a process may have."""

import os

import pytest

from lapsekit.memory import UNTOUCHED_MB, Need, at_once, available_mb, limits_of_groups
from tests.bench.watched import run

NEED = Need(held_mb=100, each_mb=50)


@pytest.mark.parametrize(
    ("memory_mb", "fitting"), [(100, 1), (149, 1), (150, 1), (200, 2), (399, 5), (5000, 8)]
)
def test_as_many_at_once_as_fit_beside_what_is_held_and_at_most_one_a_core(
    memory_mb, fitting, monkeypatch
):
    monkeypatch.setattr(os, "cpu_count", lambda: 8)
    assert at_once(NEED, memory_mb=memory_mb) == fitting


def test_a_number_that_was_asked_for_stands_above_memory():
    assert at_once(NEED, workers=16, memory_mb=200) == 16


def test_without_a_setting_the_machine_decides(monkeypatch):
    monkeypatch.setattr(os, "cpu_count", lambda: 1000)
    told = at_once(Need(0, 1))
    assert told == min(1000, int(0.7 * available_mb()))


def test_a_process_under_a_limit_knows_that_it_has_less():
    limit_mb = 321
    told = run([], limit_mb, "from lapsekit.memory import available_mb; print(available_mb())")
    assert float(told.told) == pytest.approx(limit_mb)
    beyond = "import resource as r; r.setrlimit(r.RLIMIT_DATA, (500_000_000, 500_000_000))\n"
    told = run([], 0, beyond + "from lapsekit.memory import available_mb; print(available_mb())")
    assert float(told.told) == pytest.approx(500 - UNTOUCHED_MB)


def test_limits_of_all_groups_around_a_process_count_the_soft_ones_too(tmp_path):
    inner = tmp_path / "a.slice" / "b.service"
    inner.mkdir(parents=True)
    (inner / "memory.max").write_text("max\n")
    (inner.parent / "memory.max").write_text("300000000\n")
    (inner.parent / "memory.high").write_text("250000000\n")
    (tmp_path / "memory.max").write_text("900000000\n")
    assert sorted(limits_of_groups(tmp_path, "/a.slice/b.service")) == [
        250_000_000,
        300_000_000,
        900_000_000,
    ]
    assert limits_of_groups(tmp_path, "/gone/in/a/container") == [900_000_000]


_FREED = """
import sys
from lapsekit.memory import be_sparing
be_sparing(400 if sys.argv[1] == "sparing" else None)
large = b"x" * 30_000_000  # freed, it tells the C library that such sizes come and go
del large
large = b"x" * 25_000_000
kept = b"y" * 5_000_000  # fits into no gap: it lies above what is freed next
del large
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmRSS")))
"""


def test_where_memory_is_short_what_was_freed_goes_back_to_the_system(monkeypatch):
    monkeypatch.delenv("MALLOC_TRIM_THRESHOLD_", raising=False)  # Dask leaves it behind
    plain, sparing = (int(run([how], 0, _FREED).told) for how in ("plain", "sparing"))
    assert sparing < plain - 20_000
