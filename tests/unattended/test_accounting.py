"""Frames that did not come are accounted for, each once."""

from lapsekit.unattended import accounting
from lapsekit.unattended.missed import note_missed, read_missed
from tests.unattended.simulated import DAY, HOUR, MINUTE, START, started


def test_power_that_was_gone_is_accounted_for_frame_by_frame(bench):
    process, machine, camera = started(bench)
    process.run_until(START + 5.5 * HOUR)
    machine.now += 2 * DAY
    machine.start()
    process, _, _ = started(bench, machine, camera)
    (missed,) = read_missed(bench.folder)
    assert missed.why == "lapsekit run was not running"
    assert missed.frames == 5 + 9 + 4
    process.run_until(machine.now + DAY)
    started(bench, machine, camera)
    assert len(read_missed(bench.folder)) == 1


def test_a_line_of_missed_that_a_power_cut_tore_spoils_no_other(tmp_path):
    note_missed(tmp_path, "bench", [START], "first")
    with (tmp_path / "missed.csv").open("ab") as file:
        file.write(b"2031-04-02T08:00:0")
    note_missed(tmp_path, "bench", [START, START + HOUR], "a reason, with\na break")
    assert [(m.frames, m.why) for m in read_missed(tmp_path)] == [
        (1, "first"),
        (2, "a reason, with a break"),
    ]


def test_a_frame_due_a_moment_before_a_start_is_accounted_for(bench):
    process, machine, camera = started(bench)
    process.run_until(START + 4.5 * HOUR)
    machine.now = START + 5 * HOUR + MINUTE
    machine.start()
    process, _, _ = started(bench, machine, camera)
    assert [(m.first_due_at.hour, m.frames) for m in read_missed(bench.folder)] == [(9, 1)]


def test_a_sleep_over_many_frames_is_accounted_for_whole(bench):
    process, machine, _ = started(bench)
    process.run_until(START + 3.5 * HOUR)
    slept_from = START + 4 * HOUR
    machine.now = START + 8 * HOUR + 10 * MINUTE
    process.keeping.taking.missed("bench", slept_from, "the machine was asleep")
    (missed,) = read_missed(bench.folder)
    assert (missed.first_due_at, missed.frames) == (slept_from, 5)


def test_what_a_full_disk_did_not_let_be_noted_is_noted_when_it_can_be(bench, monkeypatch):
    process, _, camera = started(bench)
    process.run_until(START + 2.5 * HOUR)
    camera.fails = True

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(accounting, "note_missed", full)
        process.run_until(START + 4.5 * HOUR)
    assert read_missed(bench.folder) == []
    process.run_until(START + 5.5 * HOUR)
    assert [m.first_due_at.hour for m in read_missed(bench.folder)] == [7, 8, 9]
