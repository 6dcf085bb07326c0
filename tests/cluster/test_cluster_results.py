"""Whoever measures, and whatever becomes of the machines meanwhile, the numbers are the same."""

import os
import shutil
import signal
import threading

import pytest

from lapsekit.clusters import spreading
from lapsekit.clusters.day_tables import DayTables, from_parquet
from lapsekit.clusters.joining import joined
from lapsekit.clusters.measuring_there import MeasuringThere
from lapsekit.errors import ClusterError
from lapsekit.measuring import frames_waiting, measure
from tests.cluster.clusters import (
    await_workers,
    cluster,
    dies,
    everything,
    frames_elsewhere,
    measured_on,
    sleeps,
    without_catalogue,
)
from tests.scenes import SETTINGS, basil_radius, disc_px, make_season


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
        client, ended = machines._client, []
        of_process = {process: worker for worker, process in client.run(os.getpid).items()}

        def kill_once_at_work():
            while not ended and measures.is_set():
                at_work = client.processing()
                for worker in workers:
                    if at_work.get(of_process[worker.pid]) and not ended:
                        worker.send_signal(signal.SIGKILL)
                        ended.append(worker.wait())

        measures = threading.Event()
        measures.set()
        killer = threading.Thread(target=kill_once_at_work)
        killer.start()
        try:
            measure(fresh, elsewhere=MeasuringThere(machines))
        finally:
            measures.clear()
            killer.join()
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


def test_a_run_that_was_stopped_goes_on_from_the_tables_it_had_finished(drawn, wanted_drawn, own):
    def stop(items, total, label):
        for number, item in enumerate(items):
            if label == "measuring" and number == 5:
                raise KeyboardInterrupt
            yield item

    with pytest.raises(KeyboardInterrupt):
        measure(drawn, track=stop, elsewhere=MeasuringThere(own))
    finished = list((drawn.folder / "measured").rglob("*.parquet"))
    assert len(finished) >= 2
    again = without_catalogue(drawn)
    there = MeasuringThere(own)
    report = measure(again, elsewhere=there)
    assert everything(again) == wanted_drawn
    assert there.taken == 3 * len(finished)
    assert report.measured == 15


def test_tables_of_other_settings_are_measured_anew(drawn, own):
    measure(drawn, elsewhere=MeasuringThere(own))
    drawn.catalogue.close()
    settings = SETTINGS.replace("px_per_cm = 10", "px_per_cm = 20")
    changed = make_season(drawn.folder, settings)
    there = MeasuringThere(own)
    assert measure(changed, elsewhere=there).measured == 15
    assert there.taken == 0
    first = changed.catalogue.measurements("basil")[0][1]
    assert first.area_cm2 == pytest.approx(disc_px(basil_radius(0)) / 400, rel=0.01)


def test_a_table_that_is_damaged_or_of_other_bytes_is_measured_anew(drawn, own):
    measure(drawn, elsewhere=MeasuringThere(own))
    first, *_ = sorted((drawn.folder / "measured").rglob("*.parquet"))
    first.write_bytes(first.read_bytes()[:500])
    frames = sorted((drawn.folder / "frames").rglob("*.png"))
    shutil.copy(frames[8], frames[3])  # the second day's first frame: its row is of other bytes now
    again = without_catalogue(drawn)
    there = MeasuringThere(own)
    measure(again, elsewhere=there)
    assert there.taken == 15 - 3 - 1
    (row,) = (m for f, m in again.catalogue.measurements("basil") if frames[3].match(f.path))
    assert row.canopy_px == pytest.approx(disc_px(basil_radius(8)), rel=0.01)


def test_nothing_is_asked_of_a_cluster_that_has_nothing_to_do(drawn, wanted_drawn, own):
    measure(drawn, elsewhere=MeasuringThere(own))
    tasks = own.tasks
    report = measure(drawn, elsewhere=MeasuringThere(own))
    assert (report.measured, report.done_before, own.tasks) == (0, 15, tasks)
    assert everything(drawn) == wanted_drawn


def test_a_later_frame_joins_its_days_table(drawn, wanted_drawn, own):
    late = sorted((drawn.folder / "frames").rglob("*.png"))[4]
    aside = drawn.folder / "late.png"
    late.rename(aside)
    measure(drawn, elsewhere=MeasuringThere(own))
    aside.rename(late)
    there = MeasuringThere(own)
    report = measure(drawn, elsewhere=there)
    assert (report.measured, there.taken) == (1, 0)
    assert everything(drawn) == wanted_drawn
    table = next((drawn.folder / "measured").rglob(f"{late.parent.name}.parquet"))
    assert len(dict(from_parquet(table.read_bytes()))) == 3


def test_a_table_holds_what_the_catalogue_holds_before_days_are_worked_out(drawn, own):
    def stop(items, total, label):
        if label == "working out days":
            raise KeyboardInterrupt
        yield from items

    with pytest.raises(KeyboardInterrupt):
        measure(drawn, track=stop, elsewhere=MeasuringThere(own))
    rows = [m for _, m in drawn.catalogue.measurements()]
    tables = DayTables(drawn.folder)
    told = [
        measurement
        for day in drawn.catalogue.days_of_camera("bench")
        for _, (_, _, measurements, _) in tables.read("bench", day).values()
        for measurement in measurements
    ]
    assert sorted(told, key=repr) == sorted(rows, key=repr) and len(rows) == 30


def test_a_frame_that_is_gone_or_changed_meanwhile_is_told_and_the_others_are_measured(drawn, own):
    """Workers check every byte against the catalogue; what is not read is tried again next time."""
    drawn.index()
    gone, changed, *others = sorted((drawn.folder / "frames").rglob("*.png"))[4:]
    places = frames_elsewhere(drawn)
    (places / gone.relative_to(drawn.folder / "frames")).unlink()
    (places / changed.relative_to(drawn.folder / "frames")).write_bytes(others[0].read_bytes())
    there = MeasuringThere(own, places.as_uri())
    report = measure(drawn, elsewhere=there)
    told = dict(report.unreadable)
    assert "no such file there" in told[str(gone.relative_to(drawn.folder))]
    assert (
        "another file there than the catalogue knows"
        in told[str(changed.relative_to(drawn.folder))]
    )
    assert report.measured == 13 and frames_waiting(drawn) == 2
    measure(drawn, elsewhere=MeasuringThere(own))
    assert frames_waiting(drawn) == 0


def test_work_that_kills_one_worker_after_the_other_is_named():
    few = {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1"}
    with cluster(workers=2, scheduler_env=few) as (address, workers), joined(address) as machines:
        await_workers(machines, 2)
        said = "frames of bench: 2 workers died one after the other .* last tcp://127.0.0.1"
        with pytest.raises(ClusterError, match=said):
            list(machines.spread(dies, None, ["frames of bench"]))
        assert [worker.wait() for worker in workers] == [-signal.SIGKILL] * 2


def test_without_any_worker_left_it_gives_up_and_says_how_to_go_on(monkeypatch):
    monkeypatch.setattr(spreading, "NO_WORKER_S", 1)
    monkeypatch.setattr(spreading, "LOOK_S", 0.5)
    said = "no worker is left .* run the same command again"
    with (
        cluster(workers=1) as (address, _),
        joined(address) as machines,
        pytest.raises(ClusterError, match=said),
    ):
        list(machines.spread(dies, None, ["frames of bench"]))


def test_when_the_scheduler_goes_it_gives_up_too(monkeypatch):
    monkeypatch.setattr(spreading, "NO_WORKER_S", 1)
    monkeypatch.setattr(spreading, "LOOK_S", 0.5)
    with cluster(workers=1) as (address, processes), joined(address) as machines:

        def items():
            yield "frames of bench"
            processes.scheduler.kill()

        with pytest.raises(ClusterError, match="run the same command again"):
            list(machines.spread(sleeps, 60, items()))
