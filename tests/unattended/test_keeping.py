"""Months without a visit: what is due is there or accounted for, whatever fails."""

import json
import os
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.cameras import Shot, open_camera
from lapsekit.errors import ArchiveError, CameraError
from lapsekit.season import Season
from lapsekit.unattended import keeping
from lapsekit.unattended.children import Ended
from lapsekit.unattended.missed import note_missed, read_missed
from lapsekit.unattended.waiting import waiting_frames
from tests.scenes import SETTINGS, make_season
from tests.unattended.simulated import SimulatedMachine, SimulatedProcess, time_in, timed_picture

START = datetime(2031, 4, 2, 4, tzinfo=UTC)  # 06:00 in the season's zone
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
CAPTURE = (
    '[capture]\nevery_minutes = 60\nfrom = "08:00"\nuntil = "16:00"\ndaily_at = "12:00"\n'
    "daily_within_minutes = 90\n"
)


class Truthful:
    """A camera whose pictures tell when they were truly taken; it fails while it is told to."""

    def __init__(self, machine):
        self.machine = machine
        self.fails = False
        self.asked = []

    def take(self, now):
        self.asked.append(self.machine.now)
        if self.fails:
            raise CameraError("no camera answers; check the cable")
        return Shot(timed_picture(self.machine.now), now)


@pytest.fixture
def bench(tmp_path):
    text = SETTINGS.split("[capture]")[0].replace('kind = "files"', 'kind = "usb"') + CAPTURE
    make_season(tmp_path / "bench", text).catalogue.close()
    season = Season(tmp_path / "bench")
    yield season
    season.catalogue.close()


def started(season, machine=None, camera=None, **more):
    machine = machine or SimulatedMachine(START)
    camera = camera or Truthful(machine)
    return SimulatedProcess(season, {"bench": camera}, machine, **more), machine, camera


def hours(season):
    """Hours of the frames filed, in the season's zone."""
    return [f.taken_at.astimezone(season.zone).hour for f in season.catalogue.frames()]


def truths(season):
    """How far every filed frame's date is from when it was truly taken, in seconds."""
    for frame in season.catalogue.frames():
        yield abs(frame.taken_at.timestamp() - time_in(season.archive.read(frame.path)))


def test_a_day_files_what_is_due(bench):
    process, _, _ = started(bench)
    process.run_until(START + 14 * HOUR)
    assert hours(bench) == list(range(8, 17))
    assert read_missed(bench.folder) == []


def test_a_camera_that_fails_is_accounted_for_and_the_daily_picture_is_tried_again(bench):
    process, _machine, camera = started(bench)
    process.run_until(START + 4.5 * HOUR)
    camera.fails = True
    process.run_until(START + 6 * HOUR + 20 * MINUTE)
    camera.fails = False
    process.run_until(START + 14 * HOUR)
    daily = [at for at in camera.asked if at.hour == 10 and at.minute != 0]
    assert [at.minute for at in daily] == [1, 3, 7, 15, 30]
    assert {f.taken_at.minute for f in bench.catalogue.frames() if f.taken_at.hour == 10} == {30}
    (missed,) = read_missed(bench.folder)
    assert (missed.first_due_at.hour, missed.frames) == (9, 1)
    assert "check the cable" in missed.why


def test_a_daily_picture_that_never_came_is_noted_after_its_search_window(bench):
    process, _machine, camera = started(bench)
    camera.fails = True
    process.run_until(START + 14 * HOUR)
    missed = read_missed(bench.folder)
    assert sum(m.frames for m in missed) == 9
    daily = [at for at in camera.asked if timedelta(0) <= at - (START + 6 * HOUR) <= 90 * MINUTE]
    assert len([at for at in daily if at.minute in (0, 1, 3, 7, 15, 30)]) >= 7


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


def test_a_morning_that_fails_is_written_down_for_whoever_looks(bench):
    ends = iter([Ended(75, [], "publish: no line"), Ended(0, ["fine"], "")])
    process, _machine, _ = started(bench, stage=lambda *_, **__: next(ends, Ended(0, [], "")))
    process.run_until(START + HOUR)
    file = bench.folder / ".last-morning.json"
    told = json.loads(file.read_text())
    assert (told["code"], told["told"]) == (75, "publish: no line")
    assert told["ended_at"] == "2031-04-02T04:30:00Z"
    process.run_until(START + DAY + HOUR)
    told = json.loads(file.read_text())
    assert (told["code"], told["ended_at"]) == (0, "2031-04-03T04:30:00Z")


def test_a_line_of_missed_that_a_power_cut_tore_spoils_no_other(tmp_path):
    note_missed(tmp_path, "bench", [START], "first")
    with (tmp_path / "missed.csv").open("ab") as file:
        file.write(b"2031-04-02T08:00:0")
    note_missed(tmp_path, "bench", [START, START + HOUR], "a reason, with\na break")
    assert [(m.frames, m.why) for m in read_missed(tmp_path)] == [
        (1, "first"),
        (2, "a reason, with a break"),
    ]


def test_frames_that_a_power_cut_took_out_of_the_catalogue_are_noted_at_the_next_start(bench):
    process, machine, camera = started(bench)
    process.run_until(START + 6.5 * HOUR)
    lost = [f.path for f in bench.catalogue.frames()][-2:]
    bench.catalogue.remove_frames(lost)
    machine.start()
    started(bench, machine, camera)
    assert [f.path for f in bench.catalogue.frames()][-2:] == lost
    assert read_missed(bench.folder) == []


def test_a_daily_picture_that_a_start_came_too_late_for_is_made_up_for_in_its_window(bench):
    machine = SimulatedMachine(START)
    process, _, camera = started(bench, machine)
    process.run_until(START + 5.5 * HOUR)
    machine.now = START + 6 * HOUR + 5 * MINUTE
    machine.start()
    process, _, _ = started(bench, machine, camera)
    process.run_until(START + 6.5 * HOUR)
    assert [f"{at:%H:%M}" for at in camera.asked][-1] == "10:05"
    assert [m.first_due_at.hour for m in read_missed(bench.folder)] == [10]


def test_a_frame_that_comes_while_a_daily_picture_is_tried_again_stands_for_it(bench):
    process, _, camera = started(bench)
    process.run_until(START + 5.5 * HOUR)
    camera.fails = True
    process.run_until(START + 6 * HOUR + 55 * MINUTE)
    camera.fails = False
    process.run_until(START + 7.9 * HOUR)
    after = [f"{at:%H:%M}" for at in camera.asked if at > START + 6 * HOUR + 55 * MINUTE]
    assert after == ["11:00"]  # due by itself, or tried again for the daily one: once


def test_a_frame_due_a_moment_before_a_start_is_accounted_for(bench):
    process, machine, camera = started(bench)
    process.run_until(START + 4.5 * HOUR)
    machine.now = START + 5 * HOUR + MINUTE
    machine.start()
    process, _, _ = started(bench, machine, camera)
    assert [(m.first_due_at.hour, m.frames) for m in read_missed(bench.folder)] == [(9, 1)]


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


def test_a_sleep_over_many_frames_is_accounted_for_whole(bench):
    process, machine, _ = started(bench)
    process.run_until(START + 3.5 * HOUR)
    slept_from = START + 4 * HOUR
    machine.now = START + 8 * HOUR + 10 * MINUTE
    process.keeping.missed("bench", slept_from, "the machine was asleep")
    (missed,) = read_missed(bench.folder)
    assert (missed.first_due_at, missed.frames) == (slept_from, 5)


def test_a_morning_that_was_stopped_is_no_failure(bench):
    ended = Ended(143, [], "", was_stopped=True)
    process, _, _ = started(bench, stage=lambda *_, **__: ended)
    process.run_until(START + HOUR)
    assert not (bench.folder / ".last-morning.json").exists()


def test_a_watched_folder_that_is_gone_is_told_once_a_look_and_comes_back(tmp_path):
    text = SETTINGS.split("[capture]")[0].replace(
        'kind = "files"', 'kind = "watched"\nfolder = "card"\nfile_time = true\nsettled_s = 1'
    )
    season = make_season(tmp_path / "bench", text)
    camera = open_camera("bench", season.settings.cameras["bench"], season.folder, season.zone)
    told = []

    def tell(text, level=None, **_):
        told.append(text)

    machine = SimulatedMachine(START)
    keeping = SimulatedProcess(season, {"bench": camera}, machine, tell).keeping
    told.clear()
    for _ in range(2):
        keeping.watch()
    assert len(told) == 2 and all("check that the card is in" in text for text in told)
    (season.folder / "card").mkdir()
    file = season.folder / "card" / "a.png"
    file.write_bytes(timed_picture(START))
    os.utime(file, (START.timestamp() - 60,) * 2)
    camera.camera._model = camera.camera._model.model_copy(update={"settled_s": 0.0})
    keeping.watch()
    assert len(season.catalogue.frames()) == 1
    season.catalogue.close()


def test_what_a_full_disk_did_not_let_be_noted_is_noted_when_it_can_be(bench, monkeypatch):
    process, _, camera = started(bench)
    process.run_until(START + 2.5 * HOUR)
    camera.fails = True

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(keeping, "note_missed", full)
        process.run_until(START + 4.5 * HOUR)
    assert read_missed(bench.folder) == []
    process.run_until(START + 5.5 * HOUR)
    assert [m.first_due_at.hour for m in read_missed(bench.folder)] == [7, 8, 9]
