"""Whoever measures, and whatever becomes of the machines meanwhile, the numbers are the same."""

import os
import shutil
import signal
import sqlite3

import pytest

from lapsekit.clusters.day_tables import DayTables, from_parquet
from lapsekit.clusters.joining import joined
from lapsekit.clusters.measuring_there import MeasuringThere
from lapsekit.errors import ClusterError
from lapsekit.measuring import frames_waiting, measure
from lapsekit.season import Season
from tests.cluster.clusters import await_workers, cluster, everything, measured_on


@pytest.mark.parametrize("processes", [1, 2, 4])
def test_worker_processes_give_every_bit_that_measuring_here_gives(fresh, wanted, processes):
    found, report, there = measured_on(fresh, "local", processes)
    assert found == wanted
    assert report.measured == 24 and there.machines.tasks > 4


def test_the_season_that_is_compared_has_a_knock_strokes_and_frames_left_out(measured):
    """Else the comparison would not reach what is hardest to carry to other machines."""
    season, (tables, _) = measured
    _, screenings, placements, measurements, daily, _ = tables
    assert (season.folder / "colours.csv").exists()
    corner = [eval(row[1])[2] for row in placements]
    assert max(corner) - min(corner) > 8
    assert len({row[2] for row in screenings}) > 1
    assert len(measurements) > 500 and len(daily) > 100


def killing(process_of_first):
    """A track that ends a worker once the first frame has come back."""

    def track(items, total, label):
        for number, item in enumerate(items):
            if label == "measuring" and number == 0:
                process_of_first()
            yield item

    return track


def test_a_worker_killed_in_the_middle_changes_nothing(fresh, wanted):
    with cluster(workers=2) as (address, workers), joined(address) as machines:
        await_workers(machines, 2)
        ended = []

        def kill():
            workers[0].send_signal(signal.SIGKILL)
            ended.append(workers[0].wait())

        there = MeasuringThere(machines)
        measure(fresh, track=killing(kill), elsewhere=there)
        assert ended == [-signal.SIGKILL] and len(machines.workers()) == 1
    assert everything(fresh) == wanted


def test_every_process_of_this_machine_killed_once_changes_nothing(fresh, wanted):
    """They are started again; what they had done and not handed over is done again."""
    with joined("local", 2) as machines:
        before = set(machines._client.run(os.getpid).values())

        def kill():
            for process in before:
                os.kill(process, signal.SIGKILL)

        measure(fresh, track=killing(kill), elsewhere=MeasuringThere(machines))
        after = set(machines._client.run(os.getpid).values())
        assert len(before) == 2 and not before & after
    assert everything(fresh) == wanted


def test_a_run_that_was_stopped_goes_on_from_the_tables_it_had_finished(fresh, wanted):
    def stop(items, total, label):
        for number, item in enumerate(items):
            if label == "measuring" and number == 9:
                raise KeyboardInterrupt
            yield item

    with pytest.raises(KeyboardInterrupt):
        measured_on(fresh, "local", 1, track=stop)
    finished = list((fresh.folder / "measured").rglob("*.parquet"))
    assert len(finished) >= 3
    for file in fresh.folder.glob("catalogue.sqlite*"):
        file.unlink()
    again = Season(fresh.folder)
    found, report, there = measured_on(again, "local", 1)
    assert found == wanted
    assert there.taken == 4 * len(finished) < report.measured == 24


def test_tables_of_other_settings_are_measured_anew(fresh, wanted):
    measured_on(fresh, "local", 1)
    settings = fresh.folder / "season.toml"
    settings.write_text(settings.read_text().replace("[120, 84]", "[60, 42]"))
    found, _, there = measured_on(Season(fresh.folder), "local", 1)
    assert there.taken == 0
    areas = [[float.fromhex(r[7]) for r in t[0][3] if r[7] is not None] for t in (found, wanted)]
    assert sum(areas[0]) == pytest.approx(sum(areas[1]) / 4, rel=0.02)


def test_a_table_that_is_damaged_or_of_other_bytes_is_measured_anew(fresh, wanted):
    measured_on(fresh, "local", 1)
    first, second, *_ = sorted((fresh.folder / "measured").rglob("*.parquet"))
    first.write_bytes(first.read_bytes()[:500])
    other = sorted((fresh.folder / "frames").rglob("*.jpg"))
    shutil.copy(other[5], other[4])  # the second day's first frame: its rows are of other bytes now
    for file in fresh.folder.glob("catalogue.sqlite*"):
        file.unlink()
    _, _, there = measured_on(Season(fresh.folder), "local", 1)
    assert there.taken == 24 - 4 - 1
    with sqlite3.connect(fresh.folder / "catalogue.sqlite") as db:
        same = db.execute(
            "SELECT count(DISTINCT figures) FROM screening JOIN frame ON id = frame_id"
            " WHERE day = ?",
            (second.stem,),
        ).fetchone()
    db.close()
    assert same == (3,)


def test_nothing_is_asked_of_a_cluster_that_has_nothing_to_do(fresh, wanted):
    measured_on(fresh, "local", 1)
    found, report, there = measured_on(Season(fresh.folder), "local", 1)
    assert found == wanted
    assert (report.measured, report.done_before, there.machines.tasks) == (0, 24, 0)


def test_a_later_frame_joins_its_days_table(fresh, wanted):
    late = sorted((fresh.folder / "frames").rglob("*.jpg"))[6]
    aside = fresh.folder / "late.jpg"
    late.rename(aside)
    measured_on(fresh, "local", 1)
    aside.rename(late)
    found, report, there = measured_on(Season(fresh.folder), "local", 1)
    assert report.measured == 1 and there.taken == 0
    assert found == wanted
    table = next((fresh.folder / "measured").rglob(f"{late.parent.name}.parquet"))
    assert len(dict(from_parquet(table.read_bytes()))) == 4


def test_a_table_holds_what_the_catalogue_holds_before_days_are_worked_out(fresh):
    def stop(items, total, label):
        if label == "working out days":
            raise KeyboardInterrupt
        yield from items

    with pytest.raises(KeyboardInterrupt):
        measured_on(fresh, "local", 1, track=stop)
    with sqlite3.connect(fresh.folder / "catalogue.sqlite") as db:
        rows = db.execute(
            "SELECT path, region, area_cm2, cover, canopy_px FROM measurement JOIN frame"
            " ON id = frame_id ORDER BY path, region"
        ).fetchall()
    db.close()
    tables = DayTables(fresh.folder)
    told = [
        (m.path, m.region, m.area_cm2, m.cover, m.canopy_px)
        for day in {frame.day for frame in Season(fresh.folder).catalogue.frames()}
        for _, (_, _, measurements, _) in tables.read("bench", day).values()
        for m in measurements
    ]
    assert sorted(told) == rows and len(rows) > 500


def test_frames_that_kill_one_worker_after_the_other_are_named_and_the_rest_is_kept(fresh):
    """A worker that has too little memory dies of every batch."""
    with (
        cluster(
            workers=2, scheduler_env={"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0"}
        ) as (
            address,
            workers,
        ),
        joined(address) as machines,
    ):
        await_workers(machines, 2)
        with pytest.raises(
            ClusterError, match=r"frames of bench on 2026-\d\d-\d\d: 1 workers died"
        ):
            measure(
                fresh,
                track=killing(workers[0].kill),
                elsewhere=MeasuringThere(machines),
            )
    assert frames_waiting(Season(fresh.folder)) > 0
