"""Thinned out, a season keeps its values, verdicts and daily pictures, however it is stopped."""

import csv
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lapsekit.errors import ArchiveError, SettingsError
from lapsekit.film.records import FilmRecord, Films
from lapsekit.frames.bringing_in import TimeSource, bring_in
from lapsekit.frames.thinned import Gone, Kept, Thinned
from lapsekit.judging import rule
from lapsekit.measuring import frames_waiting, measure
from lapsekit.season import Season
from lapsekit.site.almanac import gather
from lapsekit.thinning import thin
from lapsekit.trust import trust
from tests.scenes import FIRST_DAY, REGIONS, SETTINGS, bench_picture, encoded, growing_bench

DAYS, A_DAY, STAY = 6, 7, 3
NOW = datetime(2031, 4, 7, 6, tzinfo=UTC)
THINNING = "\n[thinning]\nkeep_all_days = 3\nthen_a_day = 3\nneeds_copy = false\n"
OLD = [FIRST_DAY + timedelta(n) for n in range(3)]  # those of 4 and 5 and 6 days ago
STEP = 0.25


def opened(folder, settings=SETTINGS + THINNING, regions=REGIONS, now=NOW):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "season.toml").write_text(settings)
    (folder / "regions.toml").write_text(regions)
    trust(folder)
    return Season(folder, lambda: now)


def reopened(season, **options):
    season.catalogue.close()
    return opened(season.folder, **options)


def file_days(season, first=0, days=DAYS):
    for number in range(first, first + days):
        for shot in range(A_DAY):
            start = datetime.combine(FIRST_DAY, datetime.min.time(), UTC)
            moment = start + timedelta(days=number, hours=7 + 1.5 * shot)
            step = STEP * (number * A_DAY + shot)
            picture = growing_bench(step, seed=number * A_DAY + shot)
            if (number, shot) == (1, 4):  # as if somebody stood in it
                picture[20:200, 60:260] = (150, 110, 90)
            season.archive.store("bench", moment, encoded(picture), ".png")


@pytest.fixture(scope="module")
def measured_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("thinning") / "bench"
    season = opened(folder)
    file_days(season)
    measure(season)
    season.catalogue.close()
    return folder


@pytest.fixture
def bench(measured_folder, tmp_path):
    shutil.copytree(measured_folder, tmp_path / "bench")
    season = opened(tmp_path / "bench")
    yield season
    season.catalogue.close()


def files(season):
    return sorted(f.path for f in season.archive.files())


def shown(season):
    return {(c, d): f.path for c, days in season.daily_pictures().items() for d, f in days.items()}


def everything(season):
    """All that is known, by frame where frames may go."""
    catalogue = season.catalogue
    return {
        "daily": catalogue.daily(),
        "verdicts": {s.path: s for _, s in catalogue.screenings()},
        "measurements": {(m.path, m.region): m for _, m in catalogue.measurements()},
        "shown": shown(season),
    }


def of_those_left(before, season):
    left = set(files(season))
    return before | {
        "verdicts": {p: v for p, v in before["verdicts"].items() if p in left},
        "measurements": {k: m for k, m in before["measurements"].items() if k[0] in left},
    }


def table(season, name):
    with (season.folder / "thinned" / name).open(newline="") as file:
        return list(csv.DictReader(file))


def test_a_frame_that_gets_a_yes_while_others_go_stays(bench):
    going = thin(bench, dry_run=True).gone

    def meanwhile(days, total, label):
        if label == "thinning out":
            rule(bench, [going[-1]], use=True)
        return days

    assert thin(bench, track=meanwhile).gone == going[:-1]
    assert going[-1] in files(bench)


def test_old_days_keep_a_few_frames_and_every_value_verdict_and_daily_picture(bench):
    before, had = everything(bench), bench.catalogue.frames()
    report = thin(bench)
    assert len(report.gone) >= 3 * (A_DAY - STAY) - 3
    by_day = {d: [f for f in bench.catalogue.frames() if f.day == d] for d in {f.day for f in had}}
    assert all(len(by_day[d]) == (A_DAY if d not in OLD else len(by_day[d])) for d in by_day)
    assert all(STAY <= len(by_day[d]) < A_DAY for d in OLD)
    assert files(bench) == sorted(f.path for f in bench.catalogue.frames())
    assert everything(bench) == of_those_left(before, bench)
    done = measure(bench)
    assert (done.measured, done.days) == (0, 0)
    assert everything(bench) == of_those_left(before, bench)
    assert {d.frames_used for d in bench.catalogue.daily() if d.day in OLD} <= {A_DAY, A_DAY - 1}
    assert report.freed_bytes == sum(f.size for f in had if f.path in report.gone)


def test_what_went_is_written_down_line_by_line(bench):
    had = {f.path: f for f in bench.catalogue.frames()}
    reasons = {s.path: s.reasons for _, s in bench.catalogue.screenings()}
    values = {(d.region, d.day): d for d in bench.catalogue.daily()}
    gone = thin(bench).gone
    rows = {row["path"]: row for row in table(bench, "frames.csv")}
    assert {row["reasons"] for row in rows.values()} == {"", "obstructed"}
    assert sorted(rows) == sorted(gone)
    for path, row in rows.items():
        assert (row["sha256"], int(row["size"])) == (had[path].sha256, had[path].size)
        assert row["reasons"] == "; ".join(reasons[path])
    lines = table(bench, "daily.csv")
    assert {(r["region"], r["day"]) for r in lines} == {
        (region, str(day)) for region, day in values if day in OLD
    }
    assert {row.daily for row in map(_hashable, Thinned(bench.folder).daily.values())} == {
        _hashable(v) for k, v in values.items() if k[1] in OLD
    }


def _hashable(row):
    from types import SimpleNamespace

    if hasattr(row, "daily"):
        return SimpleNamespace(daily=repr(row.daily))
    return repr(row)


def test_a_catalogue_made_again_brings_the_same_values_back(bench):
    thin(bench)
    before = everything(bench)
    bench.index(rebuild=True)
    assert bench.catalogue.daily() == []
    measure(bench)
    assert everything(bench) == before
    shutil.rmtree(bench.folder / ".cache")
    bench.catalogue.close()
    for file in bench.folder.glob("catalogue.sqlite*"):
        file.unlink()
    again = opened(bench.folder)
    measure(again)
    assert everything(again) == before
    assert thin(again).gone == []
    again.catalogue.close()


def test_after_a_changed_setting_days_are_worked_out_from_what_is_left_and_back_again(bench):
    thin(bench)
    before = bench.catalogue.daily()
    scaled = SETTINGS.replace("px_per_cm = 10", "px_per_cm = 20") + THINNING
    changed = reopened(bench, settings=scaled)
    measure(changed)
    usable = {d: sum(f.day == d for f in changed.catalogue.frames()) for d in OLD}
    for old, new in zip(before, changed.catalogue.daily(), strict=True):
        if old.day in OLD:
            assert new.frames_used <= usable[new.day] < old.frames_used
        assert new.area_cm2 == pytest.approx(old.area_cm2 / 4, rel=0.1)
    back = reopened(changed)
    measure(back)
    assert back.catalogue.daily() == before


def test_a_pot_that_comes_later_leaves_the_values_of_thinned_days_as_they_are(bench):
    thin(bench)
    before = [d for d in bench.catalogue.daily() if d.day in OLD]
    later = (
        '\n[[region]]\nname = "late"\ncamera = "bench"\n[[region.outline]]\n'
        "from = 2031-04-05\npoints = [[0, 0], [60, 0], [60, 60]]\n"
    )
    more = reopened(bench, regions=REGIONS + later)
    measure(more)
    more.index(rebuild=True)
    measure(more)
    assert [d for d in more.catalogue.daily() if d.day in OLD] == before
    assert {d.region for d in more.catalogue.daily()} == {"basil", "chives", "late"}


def test_a_film_of_all_frames_may_still_be_shown_unless_one_of_them_gets_a_no(bench):
    shows = [f.path for d in bench.usable_frames("bench").values() for f in d]
    bench.films.mkdir()
    Films(bench).file("bench").write_bytes(b"film")
    Films(bench).keep("bench", FilmRecord("mark", shows))
    gone = thin(bench).gone
    assert Films(bench).may_be_shown("bench")
    (bench.folder / "verdicts.csv").write_text(f"frame,verdict\n{gone[0]},no\n")
    assert not Films(bench).may_be_shown("bench")


def test_a_sheet_that_explains_a_day_says_what_was_thinned_out(bench, monkeypatch):
    from lapsekit import explaining

    notes = []
    monkeypatch.setattr(explaining, "plate_png", lambda plate: notes.append(plate.notes) or b"")
    thin(bench)
    explaining.explain(bench, "basil", OLD[0])
    gone = A_DAY - sum(f.day == OLD[0] for f in bench.catalogue.frames())
    assert f"{gone} of the frames it rests on were thinned out since." in notes[0]
    explaining.explain(bench, "basil", OLD[2] + timedelta(1))
    assert not any("thinned" in line for line in notes[1])


def test_the_site_counts_the_frames_of_a_day_as_before(bench):
    def counted():
        return {d: vars(n) for d, n in gather(bench).frames["bench"].items()}

    before = counted()
    thin(bench)
    assert counted() == before


def test_thinned_again_to_fewer_the_values_still_rest_on_all_frames(bench):
    before = bench.catalogue.daily()
    thin(bench)
    fewer = reopened(
        bench, settings=SETTINGS + THINNING.replace("then_a_day = 3", "then_a_day = 1")
    )
    assert thin(fewer).gone
    assert fewer.catalogue.daily() == before
    fewer.index(rebuild=True)
    measure(fewer)
    assert fewer.catalogue.daily() == before


def test_verdicts_and_values_of_later_days_come_out_as_if_nothing_had_gone(bench, tmp_path):
    """Frames are judged beside those before them, gone or not; the control is never thinned."""
    whole = opened(tmp_path / "whole")
    file_days(whole)
    measure(whole)
    thin(bench)
    for season in (bench, whole):
        file_days(season, first=DAYS, days=2)
        measure(season)
    left = set(files(bench))
    assert {s.path: s for _, s in bench.catalogue.screenings()} == {
        s.path: s for _, s in whole.catalogue.screenings() if s.path in left
    }
    assert bench.catalogue.daily() == whole.catalogue.daily()
    (bench.folder / "verdicts.csv").write_text(f"frame,verdict\n{max(left)},no\n")
    (whole.folder / "verdicts.csv").write_text(f"frame,verdict\n{max(left)},no\n")
    for season in (bench, whole):  # all are judged anew
        measure(season)
    assert bench.catalogue.daily() == whole.catalogue.daily()
    whole.catalogue.close()


def test_the_growers_no_to_a_frame_that_stayed_works_its_day_out_from_the_others(bench):
    thin(bench)
    day = OLD[1]
    path = shown(bench)["bench", day]
    (bench.folder / "verdicts.csv").write_text(f"frame,verdict\n{path},no\n")
    measure(bench)
    value = next(d for d in bench.catalogue.daily("basil") if d.day == day)
    left = sum(f.day == day for f in bench.catalogue.frames())
    assert value.frames_used == left - 1
    assert value.left_out == {"said no": 1}
    (bench.folder / "verdicts.csv").unlink()
    measure(bench)
    value = next(d for d in bench.catalogue.daily("basil") if d.day == day)
    assert value.frames_used >= A_DAY - 1


def test_named_frames_stay(bench):
    first, second, third = [f.path for f in bench.catalogue.frames() if f.day == OLD[1]][1:4]
    (bench.folder / "verdicts.csv").write_text(
        f"frame,verdict\n{first},no\n{Path(second).name},yes\n"
    )
    text = SETTINGS + THINNING.replace("then_a_day = 3", "then_a_day = 1")
    text = text.replace('kind = "files"', f'kind = "files"\nreference = "{third}"')
    named = reopened(bench, settings=text)
    measure(named)
    thin(named)
    assert {first, second, third} <= set(files(named))
    assert any(f.day == OLD[0] for f in named.catalogue.frames())


def test_strokes_keep_their_frames(bench):
    path = next(f.path for f in bench.catalogue.frames() if f.day == OLD[1])
    (bench.folder / "colours.csv").write_text(
        f"frame,kind,width_px,points\n{path},plant,4,80 120 84 124\n{path},other,4,10 10 20 10\n"
    )
    text = SETTINGS.replace('method = "exgr"', 'method = "model"')
    text += THINNING.replace("then_a_day = 3", "then_a_day = 1")
    taught = reopened(bench, settings=text)
    measure(taught)
    thin(taught)
    assert path in files(taught)


def test_a_frame_brought_in_again_is_known_and_one_put_back_goes_again(bench, tmp_path):
    copy = tmp_path / "card"
    shutil.copytree(bench.folder / "frames" / "bench", copy)
    before = bench.catalogue.daily()
    gone = thin(bench).gone
    times = TimeSource(bench.zone, pattern="%Y%m%dT%H%M%SZ")
    report = bring_in(
        copy, "bench", times, bench.archive, bench.catalogue, bench.clock, bench.day_of
    )
    assert (report.stored, len(report.duplicates)) == ([], DAYS * A_DAY)
    shutil.copytree(copy, bench.folder / "frames" / "bench", dirs_exist_ok=True)
    measure(bench)
    assert bench.catalogue.daily() == before
    lines = table(bench, "frames.csv")
    assert sorted(thin(bench).gone) == sorted(gone)
    assert table(bench, "frames.csv") == lines
    assert bench.catalogue.daily() == before


def test_a_frame_added_to_a_thinned_day_works_it_out_anew(bench):
    thin(bench)
    moment = datetime(2031, 4, 1, 10, 7, tzinfo=UTC)
    bench.archive.store("bench", moment, encoded(growing_bench(1, seed=99)), ".png")
    measure(bench)
    value = bench.catalogue.daily("basil")[0]
    assert value.frames_used == sum(f.day == OLD[0] for f in bench.catalogue.frames())


def test_who_stood_in_a_frame_does_not_come_into_sight_when_the_others_are_gone(bench):
    """Judged alone, by other settings, a frame that stayed is shown only if it was before."""
    frames = [f for f in bench.catalogue.frames() if f.day == OLD[1]]
    clear, hidden, gone = frames[0], frames[1], frames[2]

    def kept(frame, *reasons):
        told = f"{reasons[0]}: a person?" if reasons else ""
        return Kept(frame.path, "bench", frame.day, frame.sha256, reasons, told, True, "others")

    lines = [kept(clear, "dark"), kept(hidden, "obstructed")]
    Thinned(bench.folder).write([Gone(gone, ())], lines, [])
    (bench.folder / gone.path).unlink()
    bench.index(rebuild=True)
    measure(bench)
    found = {s.path: s for _, s in bench.catalogue.screenings()}
    assert found[clear.path].reasons == ()
    assert found[hidden.path].reasons == ("obstructed",)
    assert found[hidden.path].told == "obstructed: a person?"
    (bench.folder / "verdicts.csv").write_text(f"frame,verdict\n{hidden.path},yes\n")
    measure(bench)
    assert {s.path: s.reasons for _, s in bench.catalogue.screenings()}[hidden.path] == ()


# what may not go ------------------------------------------------------------------------------


def test_a_day_that_is_not_measured_or_judged_yet_stays_whole(bench):
    moment = datetime(2031, 4, 2, 10, 7, tzinfo=UTC)
    bench.archive.store("bench", moment, encoded(growing_bench(2, seed=98)), ".png")
    report = thin(bench)
    assert report.not_ready == 1
    assert not any("2031-04-02" in path for path in report.gone)
    limited = SETTINGS.replace("blurred_above = 1", "dark_below = 0.01") + THINNING
    changed = reopened(bench, settings=limited)
    assert frames_waiting(changed)
    report = thin(changed)
    assert (report.gone, report.not_ready) == ([], 1)


def test_a_day_without_a_usable_frame_keeps_some(tmp_path):
    season = opened(tmp_path / "dark")
    for minute in range(0, 50, 10):
        moment = datetime(2031, 4, 1, 9, minute, tzinfo=UTC)
        dark = encoded(bench_picture([], ground=(2, 2, 2), seed=minute))
        season.archive.store("bench", moment, dark, ".png")
    measure(season)
    before = season.catalogue.daily()
    assert len(thin(season).gone) == 2
    assert season.catalogue.daily() == before
    assert before[0].left_out == {"dark": 5}
    season.catalogue.close()


def test_a_dry_run_says_the_same_and_does_nothing(bench):
    before = files(bench)
    planned = thin(bench, dry_run=True)
    assert files(bench) == before
    assert not (bench.folder / "thinned").exists()
    assert thin(bench) == planned


def test_without_copies_nothing_goes_that_needs_one(bench):
    text = SETTINGS + THINNING.replace("needs_copy = false\n", "")
    needing = reopened(bench, settings=text)
    with pytest.raises(SettingsError, match=r"needs_copy = true, but \[copies\].*needs_copy = fal"):
        thin(needing)
    unset = reopened(needing, settings=SETTINGS)
    with pytest.raises(SettingsError, match="keep_all_days"):
        thin(unset)
    assert len(files(unset)) == DAYS * A_DAY


def test_only_frames_go_whose_very_content_stands_elsewhere(bench):
    text = SETTINGS + THINNING.replace("needs_copy = false\n", "")
    needing = reopened(bench, settings=text + '\n[copies]\nto = "folder"\ntarget = "/far"\n')
    before = needing.catalogue.daily()
    planned = sorted(thin(reopened(needing), dry_run=True).gone)
    needing = reopened(needing, settings=text + '\n[copies]\nto = "folder"\ntarget = "/far"\n')
    assert thin(needing).not_copied == len(planned)
    content = {f.path: f.sha256 for f in needing.catalogue.frames()}
    lines = ["path,sha256,verified_at"]
    lines += [f"{p},{content[p]},2031-04-06T03:00:00Z" for p in planned[:4]]
    lines += [f"{planned[4]},{'0' * 64},2031-04-06T03:00:00Z"]
    cut = f"{planned[5]},{content[planned[5]]},2031"  # the line that was being written
    (needing.folder / "copied.csv").write_text("\n".join([*lines, cut]))
    report = thin(needing)
    assert sorted(report.gone) == planned[:4]
    assert report.not_copied == len(planned) - 4
    assert needing.catalogue.daily() == before
    with (needing.folder / "copied.csv").open("a") as file:
        file.write("-04-06T03:00:00Z\n")
    assert thin(needing).gone == [planned[5]]
    needing.index(rebuild=True)
    measure(needing)
    assert needing.catalogue.daily() == before


# stopped ------------------------------------------------------------------------------------


class Stopped(BaseException):
    pass


def stop_at(monkeypatch, number):
    """Let the season be stopped before its `number`-th step that leaves a trace on the disk."""
    left = [number]

    def counted(function):
        def wrapped(*args, **options):
            left[0] -= 1
            if left[0] < 0:
                raise Stopped
            return function(*args, **options)

        return wrapped

    from lapsekit import catalogue

    monkeypatch.setattr(os, "fsync", counted(os.fsync))
    monkeypatch.setattr(Path, "unlink", counted(Path.unlink))
    monkeypatch.setattr(Path, "mkdir", counted(Path.mkdir))
    for name in ("note_thinned", "remove_frames"):
        monkeypatch.setattr(catalogue.Catalogue, name, counted(getattr(catalogue.Catalogue, name)))
    return left


def test_stopped_before_any_step_and_run_again_it_comes_to_the_same_end(
    measured_folder, tmp_path, monkeypatch
):
    calm = opened(tmp_path / "calm")
    calm.catalogue.close()
    shutil.copytree(measured_folder, calm.folder, dirs_exist_ok=True)
    calm = opened(calm.folder)
    thin(calm)
    end, left = everything(calm), files(calm)
    calm.catalogue.close()
    number, finished = 0, False
    while not finished:
        folder = tmp_path / f"stopped{number}"
        shutil.copytree(measured_folder, folder)
        season = opened(folder)
        with monkeypatch.context() as patch:
            stop_at(patch, number)
            try:
                thin(season)
                finished = True
            except Stopped:
                pass
        lost = {f.path for f in season.catalogue.frames()} - set(files(season))
        assert lost <= set(Thinned(folder).frames)
        season.catalogue.close()
        season = opened(folder)
        if number % 3 == 0:  # also where the morning comes first
            measure(season)
            assert everything(season)["daily"] == end["daily"]
        thin(season)
        assert files(season) == left, number
        assert everything(season) == end, number
        season.index(rebuild=True)
        if number % 5 == 0:
            measure(season)
            assert everything(season) == end, number
        season.catalogue.close()
        shutil.rmtree(folder)
        number += 1
    assert number > 25


def test_a_line_that_was_cut_off_does_not_count_and_is_written_again(bench, tmp_path):
    before = bench.catalogue.daily()
    whole = bench.folder.parent / "whole"
    shutil.copytree(bench.folder, whole)
    thin(bench)
    for name in ("frames.csv", "daily.csv", "kept.csv"):
        text = (bench.folder / "thinned" / name).read_bytes()
        for size in (len(text) - 1, len(text) - 30, 20, 1, 0):
            folder = tmp_path / "cut"
            shutil.copytree(whole, folder)
            (folder / "thinned").mkdir()
            (folder / "thinned" / name).write_bytes(text[:size])
            season = opened(folder)
            thin(season)
            assert season.catalogue.daily() == before
            assert files(season) == files(bench)
            season.index(rebuild=True)
            measure(season)
            assert season.catalogue.daily() == before
            season.catalogue.close()
            shutil.rmtree(folder)


def test_killed_at_random_moments_nothing_is_lost(bench, tmp_path):
    """SIGKILL of a real process, eight times, spread over the time that its work takes."""
    before = bench.catalogue.daily()
    bench.catalogue.close()
    code = (
        "import sys\nfrom datetime import *\nfrom pathlib import Path\n"
        "from lapsekit.season import Season\nfrom lapsekit.thinning import thin\n"
        "s = Season(Path(sys.argv[1]), lambda: datetime(2031, 4, 7, 6, tzinfo=UTC))\n"
        "print('ready', flush=True)\nthin(s)\nprint('done', flush=True)\n"
    )

    def run(folder, kill_after_s=None):
        shutil.copytree(bench.folder, folder)
        trust(folder)
        command = [sys.executable, "-c", code, str(folder)]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert process.stdout.readline() == "ready\n"
        began = time.monotonic()
        if kill_after_s is not None:
            time.sleep(kill_after_s)
            process.send_signal(signal.SIGKILL)
        done = process.stdout.readline() == "done\n"
        took_s = time.monotonic() - began
        process.communicate()
        return took_s, done

    takes_s, done = run(tmp_path / "calm")
    assert done
    left = files(opened(tmp_path / "calm"))
    moments, kills = random.Random(5), 0
    for number in range(24):
        if kills == 8:
            break
        folder = tmp_path / str(number)
        took_s, done = run(folder, takes_s * (kills + moments.random()) / 9)
        if done:  # the machine is less busy than in the calm run
            takes_s = min(takes_s, took_s)
        kills += not done
        season = opened(folder)
        thin(season)
        assert season.catalogue.daily() == before
        assert files(season) == left
        season.index(rebuild=True)
        measure(season)
        assert season.catalogue.daily() == before
        season.catalogue.close()
        shutil.rmtree(folder)
    assert kills >= 4, takes_s


def test_a_full_disk_lets_nothing_go(small_disk, measured_folder):
    disk = small_disk("40m")
    shutil.copytree(measured_folder, disk / "bench")
    season = opened(disk / "bench")
    season.index()
    had = files(season)
    used = shutil.disk_usage(disk)
    (disk / "filler").write_bytes(bytes(used.free - 4096))
    with pytest.raises(ArchiveError, match="no frame was thinned"):
        thin(season)
    assert files(season) == had
    (disk / "filler").unlink()
    assert thin(season).gone
    season.catalogue.close()


def test_the_command_says_what_it_did(bench):
    code = (
        "import sys\nfrom datetime import *\nimport lapsekit.season as s\n"
        "real = s.Season.__init__\n"
        "now = lambda: datetime(2031, 4, 7, 6, tzinfo=UTC)\n"
        "s.Season.__init__ = lambda self, folder: real(self, folder, now)\n"
        "from lapsekit.cli import main\nmain()\n"
    )

    def ran(*options):
        command = [sys.executable, "-c", code, "thin", "--season", str(bench.folder), *options]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    planned = ran("--dry-run")
    assert re.match(r"would thin out 1\d frames of 3 days", planned.stdout), planned.stderr
    assert len(files(bench)) == DAYS * A_DAY
    report = json.loads(ran("--json").stdout)
    assert f"would thin out {len(report['gone'])} frames of 3 days" in planned.stdout
    assert report["days"] == 3
    told = [f"{d['day']} bench: {d['gone']} of {A_DAY} frames" for d in report["of_days"]]
    assert [line.strip() for line in planned.stdout.splitlines()[1:4]] == told
    assert sum(d["gone"] for d in report["of_days"]) == len(report["gone"])
    assert len(files(bench)) == DAYS * A_DAY - len(report["gone"])
    assert "thinned out 0 frames" in ran().stdout
    (bench.folder / "season.toml").write_text(SETTINGS)
    refused = ran()
    assert refused.returncode == 78
    assert "thinning is not set up" in refused.stderr
