"""Months without a visit: what is due is there or accounted for, whatever fails."""

from datetime import timedelta

import pytest

from lapsekit.errors import ArchiveError
from lapsekit.unattended.missed import read_missed
from lapsekit.unattended.waiting import waiting_frames
from tests.unattended.simulated import DAY, HOUR, START, SimulatedMachine, hours, started, truths


def test_frames_of_a_machine_without_a_clock_wait_and_get_their_true_dates(bench):
    machine = SimulatedMachine(START)
    machine.has_network, machine.wrong_by = False, -40 * DAY
    process, _, _camera = started(bench, machine)
    process.run_until(START + 3 * HOUR)
    assert bench.catalogue.frames() == []
    assert len(list(waiting_frames(bench))) == 3
    machine.has_network = True
    process.run_until(START + 4.5 * HOUR)
    assert list(waiting_frames(bench)) == []
    assert len(bench.catalogue.frames()) == 3 + 2
    assert max(truths(bench)) < 1.0


def test_frames_of_a_start_that_never_knew_the_time_are_kept_and_not_dated(bench):
    machine = SimulatedMachine(START)
    machine.has_network = False
    process, _, camera = started(bench, machine)
    process.run_until(START + 2 * HOUR)
    machine.start()
    machine.has_network = True
    process, _, _ = started(bench, machine, camera)
    process.run_until(START + 4 * HOUR)
    assert len(list(waiting_frames(bench))) == 2
    assert max(truths(bench)) < 1.0


def test_a_filing_of_waiting_frames_cut_off_anywhere_files_each_once(bench, monkeypatch):
    machine = SimulatedMachine(START)
    machine.has_network = False
    process, _, _camera = started(bench, machine)
    process.run_until(START + 3 * HOUR)
    machine.has_network = True
    real = type(bench.catalogue).add_frames
    cuts = iter([True, False, True, False, False, False, False])

    def cut(catalogue, frames):
        if next(cuts):
            raise KeyboardInterrupt
        return real(catalogue, frames)

    with monkeypatch.context() as patched:
        patched.setattr(type(bench.catalogue), "add_frames", cut)
        for _ in range(3):
            machine.now += timedelta(seconds=7.3)  # the clock has been corrected by little since
            try:
                process.clock.look()
                process.keeping.settle(process.keeping.before())
            except KeyboardInterrupt:
                continue
    assert list(waiting_frames(bench)) == []
    bench.index()
    assert len(bench.catalogue.frames()) == 3
    assert max(truths(bench)) < 1.0


@pytest.mark.parametrize("jump", [DAY, -DAY])
def test_a_clock_that_jumps_by_a_day_and_back_misdates_no_frame_and_loses_none(bench, jump):
    process, machine, _ = started(bench)
    process.run_until(START + 3.5 * HOUR)
    machine.has_network, machine.wrong_by = False, jump
    process.run_until(START + 6.5 * HOUR)
    machine.wrong_by = timedelta(0)
    process.run_until(START + 14 * HOUR)
    assert hours(bench) == list(range(8, 17))
    assert max(truths(bench)) < 1.0


def test_a_full_disk_is_told_noted_where_possible_and_over_when_it_is_over(bench, monkeypatch):
    process, _machine, _ = started(bench)
    process.run_until(START + 3.5 * HOUR)

    def full(*_):
        raise ArchiveError("the disk is full; free some space")

    with monkeypatch.context() as patched:
        patched.setattr(bench.archive, "store", full)
        process.run_until(START + 5.5 * HOUR)
    process.run_until(START + 14 * HOUR)
    assert hours(bench) == [8, 9, *range(12, 17)]
    assert [m.first_due_at.hour for m in read_missed(bench.folder)] == [8, 9]


def test_a_damaged_catalogue_is_put_aside_and_made_again(bench):
    process, _machine, _ = started(bench)
    process.run_until(START + 4.5 * HOUR)
    bench.catalogue.close()
    del bench.catalogue
    file = bench.folder / "catalogue.sqlite"
    for beside in ("-wal", "-shm"):
        file.with_name(file.name + beside).unlink(missing_ok=True)
    file.write_bytes(b"no catalogue at all, but something else" * 200)
    process.run_until(START + 14 * HOUR)
    (aside,) = bench.folder.glob("catalogue.damaged-*.sqlite")
    assert aside.read_bytes().startswith(b"no catalogue")
    bench.index()
    assert hours(bench) == list(range(8, 17))


def test_frames_that_a_power_cut_took_out_of_the_catalogue_are_noted_at_the_next_start(bench):
    process, machine, camera = started(bench)
    process.run_until(START + 6.5 * HOUR)
    lost = [f.path for f in bench.catalogue.frames()][-2:]
    bench.catalogue.remove_frames(lost)
    machine.start()
    started(bench, machine, camera)
    assert [f.path for f in bench.catalogue.frames()][-2:] == lost
    assert read_missed(bench.folder) == []


def test_a_waiting_file_that_is_damaged_stays_and_holds_up_no_other(bench):
    machine = SimulatedMachine(START)
    machine.has_network = False
    process, _, _ = started(bench, machine)
    process.run_until(START + 3 * HOUR)
    first = bench.folder / next(waiting_frames(bench)).path
    first.write_bytes(bytes(first.stat().st_size))
    machine.has_network = True
    process.run_until(START + 3.2 * HOUR)
    assert len(bench.catalogue.frames()) == 2 + 1  # the two others, and one due by then
    assert len(list(waiting_frames(bench))) == 1
    assert len(list(bench.archive.files())) == 3
