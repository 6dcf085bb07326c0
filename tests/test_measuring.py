"""Measured areas are the drawn ones, however often and however roughly the stage is stopped."""

import json
import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from lapsekit import telling
from lapsekit.errors import SettingsError
from lapsekit.listing import list_frames
from lapsekit.measuring import frames_waiting, measure
from lapsekit.resources import shipped_model_text
from lapsekit.season import Season
from tests.scenes import (
    REGIONS,
    SETTINGS,
    basil_radius,
    bench_picture,
    chives_radius,
    disc_px,
    encoded,
    fill,
    make_season,
    tables,
)


def test_areas_are_the_drawn_ones(filled):
    measure(filled)
    for region, radius in (("basil", basil_radius), ("chives", chives_radius)):
        rows = [m for _, m in filled.catalogue.measurements(region)]
        assert len(rows) == 15
        for step, row in enumerate(rows):
            truth = disc_px(radius(step))
            assert row.canopy_px == pytest.approx(truth, rel=0.01)
            assert row.area_cm2 == pytest.approx(row.canopy_px / 100)
            assert row.cover == pytest.approx(row.canopy_px / row.region_px)


def test_the_day_is_the_middle_of_its_frames_says_how_many_and_how_sure_it_is(filled):
    measure(filled)
    by_day = filled.catalogue.daily("basil")
    assert len(by_day) == 5
    for number, day in enumerate(by_day):
        truth = disc_px(basil_radius(3 * number + 1)) / 100
        assert day.frames_used == 3
        assert day.area_cm2 == pytest.approx(truth, rel=0.01)
        assert day.area_low_cm2 < truth < day.area_high_cm2
        parts = sum(half**2 for half in day.parts.values()) ** 0.5
        assert day.area_high_cm2 - day.area_cm2 == pytest.approx(parts, rel=1e-3)


def test_measuring_again_does_nothing(filled):
    measure(filled)
    before = tables(filled)
    report = measure(filled)
    assert (report.measured, report.done_before, report.days) == (0, 15, 0)
    assert tables(filled) == before


def test_one_worker_and_four_give_the_same_tables(tmp_path):
    results = []
    for workers in (1, 4):
        season = make_season(tmp_path / str(workers))
        fill(season, days=3)
        measure(season, workers)
        results.append(tables(season))
        season.catalogue.close()
    assert results[0] == results[1]


WHOLE_BENCH = """\
[[region]]
name = "bench"
camera = "bench"
[[region.outline]]
from = 2031-04-01
"""


@pytest.mark.parametrize("size", [(20000, 10), (10, 20000), (20000, 1)])
def test_a_very_thin_picture_does_not_stop_the_others(tmp_path, size):
    season = make_season(tmp_path / "bench", regions=WHOLE_BENCH)
    fill(season, days=1)
    thin = encoded(bench_picture([], size=size), "JPEG")
    season.archive.store("bench", datetime(2031, 4, 1, 10, tzinfo=UTC), thin, ".jpg")
    report = measure(season)
    assert (report.measured, report.unreadable) == (4, [])
    assert season.catalogue.daily("bench")[0].frames_used == 3


def test_an_unusable_frame_is_left_out_with_its_reason(filled):
    dark = encoded(bench_picture([], ground=(2, 2, 2)))
    moment = datetime(2031, 4, 1, 9, 30, tzinfo=UTC)
    filled.archive.store("bench", moment, dark, ".png")
    measure(filled)
    day = filled.catalogue.daily("basil")[0]
    assert (day.frames_used, day.left_out) == (3, {"dark": 1})


def test_a_day_without_a_usable_frame_is_a_gap(season):
    moments = fill(season, days=2)
    dark = encoded(bench_picture([], ground=(2, 2, 2)))
    for path in [f.path for f in season.archive.files() if "2031-04-02" in f.path]:
        (season.folder / path).write_bytes(dark)
    measure(season)
    day = season.catalogue.daily("basil")[1]
    assert day.day == date(2031, 4, 2)
    assert (day.area_cm2, day.cover, day.frames_used) == (None, None, 0)
    assert day.left_out == {"dark": 3}
    assert len(moments) == 6


def reopened(season, settings=SETTINGS, regions=REGIONS):
    season.catalogue.close()
    return make_season(season.folder, settings, regions)


def test_a_changed_scale_redoes_every_frame(filled):
    measure(filled)
    changed = reopened(filled, SETTINGS.replace("px_per_cm = 10", "px_per_cm = 20"))
    assert measure(changed).measured == 15
    assert changed.catalogue.daily("basil")[0].area_cm2 == pytest.approx(
        disc_px(basil_radius(1)) / 400, rel=0.01
    )


def test_a_changed_title_redoes_nothing(filled):
    measure(filled)
    changed = reopened(filled, SETTINGS.replace("Test bench", "Another name"))
    assert measure(changed).measured == 0


def test_an_outline_from_a_later_day_redoes_the_days_from_then_on(filled):
    measure(filled)
    before = filled.catalogue.measurements("chives")
    moved = (
        REGIONS
        + "\n[[region.outline]]\nfrom = 2031-04-04\npoints = [[200, 0], [320, 0], [320, 240]]\n"
    )
    changed = reopened(filled, regions=moved)
    assert measure(changed).measured == 6
    after = changed.catalogue.measurements("chives")
    assert after[:9] == before[:9]
    assert after[9:] != before[9:]


def test_another_time_zone_sorts_the_frames_into_its_own_days(filled):
    """At UTC+14 a frame of 13:00 UTC belongs to the next day; nothing is filed or measured anew."""
    measure(filled)
    files = sorted(f.path for f in filled.archive.files())
    changed = reopened(filled, SETTINGS.replace('"CET"', '"Etc/GMT-14"'))
    report = measure(changed)
    assert sorted(f.path for f in changed.archive.files()) == files
    assert report.measured == 0
    used = {str(d.day): d.frames_used for d in changed.catalogue.daily("basil")}
    assert used == {"2031-04-01": 1, **{f"2031-04-0{n}": 3 for n in range(2, 6)}, "2031-04-06": 2}


def test_a_region_that_is_taken_out_leaves_no_rows(filled):
    measure(filled)
    changed = reopened(filled, regions=REGIONS.split("\n\n")[0] + "\n")
    measure(changed)
    assert {m.region for _, m in changed.catalogue.measurements()} == {"basil"}
    assert {d.region for d in changed.catalogue.daily()} == {"basil"}


def test_an_outline_outside_the_picture_is_refused_before_anything_is_measured(filled):
    changed = reopened(filled, regions=REGIONS.replace("[320, 240]", "[900, 240]"))
    with pytest.raises(SettingsError) as caught:
        measure(changed)
    message = str(caught.value)
    assert "regions.toml" in message
    assert 'region "chives", outline 1, point 3 = [900, 240]' in message
    assert "0 to 320" in message
    assert changed.catalogue.screenings() == []


def test_a_frame_that_cannot_be_read_today_is_measured_tomorrow(filled):
    filled.index()
    frame = filled.catalogue.frames()[0]
    hidden = filled.folder / "hidden.png"
    (filled.folder / frame.path).rename(hidden)
    (filled.folder / frame.path).mkdir()
    report = measure(filled)
    assert [path for path, _ in report.unreadable] == [frame.path]
    assert filled.catalogue.daily("basil")[0].frames_used == 2
    (filled.folder / frame.path).rmdir()
    hidden.rename(filled.folder / frame.path)
    assert measure(filled).measured == 1
    assert filled.catalogue.daily("basil")[0].frames_used == 3


@pytest.mark.parametrize(
    ("old", "new", "redone"),
    [
        ("px_per_cm = 10", "px_per_cm = 11", 15),
        ('method = "exgr"', 'method = "exg"', 15),
        ("blurred_above = 1", "blurred_above = 0.99", 0),
        ("2031-03-25", "2031-03-20", 0),
        ('daily_at = "12:00"', 'daily_at = "13:00"', 0),
        ("Test bench", "Another name", 0),
    ],
)
def test_a_changed_setting_redoes_what_it_shapes_and_nothing_else(filled, old, new, redone):
    measure(filled)
    assert measure(reopened(filled, SETTINGS.replace(old, new))).measured == redone


def test_a_changed_limit_changes_verdicts_and_days_without_measuring_anew(filled):
    measure(filled)
    changed = reopened(filled, SETTINGS.replace("blurred_above = 1", "dark_below = 0.9"))
    assert frames_waiting(changed) == 15
    report = measure(changed)
    assert (report.measured, report.days) == (0, 10)
    assert changed.catalogue.daily("basil")[0].left_out == {"dark": 3}
    assert changed.catalogue.measurements() == []
    back = reopened(changed, SETTINGS)
    assert measure(back).measured == 0
    assert back.catalogue.daily("basil")[0].frames_used == 3
    assert frames_waiting(back) == 0


def test_the_growers_word_stands_above_the_screening(filled):
    measure(filled)
    first, second = (frame.path for frame in filled.catalogue.frames()[:2])
    verdicts = filled.folder / "verdicts.csv"
    verdicts.write_text(f"frame,verdict,note\n{first},no,the cat\n")
    measure(filled)
    day = filled.catalogue.daily("basil")[0]
    assert (day.frames_used, day.left_out) == (2, {"said no": 1})
    assert filled.catalogue.screenings()[0][1].told == "said no: left out by hand: the cat"
    verdicts.write_text(f"frame,verdict,note\n{Path(second).name},Yes,dusk is fine\nno.jpg,no,\n")
    changed = reopened(filled, SETTINGS.replace("blurred_above = 1", "dark_below = 0.9"))
    report = measure(changed)
    day = changed.catalogue.daily("basil")[0]
    assert (day.frames_used, day.left_out) == (1, {"dark": 2})
    assert "line 3: no frame no.jpg in this season" in report.notes[0]


@pytest.mark.parametrize("part", ["model", "arithmetic", "cv2"])
def test_what_the_marks_name_redoes_every_frame(filled, monkeypatch, part):
    from lapsekit import ruler

    if part == "model":
        filled = reopened(filled, SETTINGS.replace('method = "exgr"', 'method = "model"'))
        measure(filled)
        fields = json.loads(shipped_model_text())
        (filled.folder / "other.json").write_text(json.dumps({**fields, "threshold": 0.5}))
        text = SETTINGS.replace('method = "exgr"', 'model_file = "other.json"')
        assert measure(reopened(filled, text)).measured == 15
        return
    measure(filled)
    target, value = {"arithmetic": ("ARITHMETIC", 99), "cv2": ("cv2.__version__", "0")}[part]
    monkeypatch.setattr(f"{ruler.__name__}.{target}", value)
    assert measure(filled).measured == 15


def test_a_new_camera_size_gets_outlines_of_its_own_and_no_area(season):
    """The old outline is not held against later pictures, nor the scale against another size."""
    fill(season, days=2)
    small = encoded(bench_picture([(40, 60, 20)], size=(160, 120)))
    season.archive.store("bench", datetime(2031, 4, 3, 10, tzinfo=UTC), small, ".png")
    later = "\n[[region.outline]]\nfrom = 2031-04-03\npoints = [[0, 0], [80, 0], [80, 119]]\n"
    one = REGIONS.split("\n\n")[0] + later
    changed = reopened(season, regions=one)
    report = measure(changed)
    assert report.measured == 7
    assert "another size than its first (320 x 240)" in report.notes[0]
    last = changed.catalogue.daily("basil")[-1]
    assert last.area_cm2 is None
    assert last.cover_low < last.cover < last.cover_high
    assert last.cover > 0.1


def test_a_season_of_night_frames_alone_is_measured_without_a_value(season):
    """No view can be taken of them yet."""
    for hour in (1, 2, 3):
        night = encoded(bench_picture([]) // 50)
        season.archive.store("bench", datetime(2031, 4, 2, hour, tzinfo=UTC), night, ".png")
    assert measure(season).measured == 3
    assert all(not daily.frames_used for daily in season.catalogue.daily("basil"))


def test_a_small_picture_that_strayed_in_stops_nothing(season):
    """It shows neither outline whole: the others are measured, and its day's value is theirs."""
    fill(season, days=2)
    measure(season)
    known = {name: season.catalogue.daily(name) for name in ("basil", "chives")}
    small = encoded(bench_picture([(40, 60, 20)], size=(60, 45)))
    season.archive.store("bench", datetime(2031, 4, 2, 10, 7, tzinfo=UTC), small, ".png")
    report = measure(season)
    assert report.measured == 1
    assert "60 x 45 px" in report.notes[1] and "basil" in report.notes[1]
    now = {name: season.catalogue.daily(name) for name in known}
    assert [d.left_out for d in now["basil"]] == [{}, {"another size": 1}]
    assert {name: [replace(d, left_out={}) for d in days] for name, days in now.items()} == known
    assert measure(season).measured == 0, "it is done, and does not wait for ever"


@pytest.mark.parametrize("method", ["exgr", "model"])
def test_a_day_of_frames_of_another_size_is_no_surer_than_one_of_one_frame(tmp_path, method):
    """The same bench, once at the view's size and once at half of it."""
    settings = SETTINGS.replace("px_per_cm = 10\n", "").replace('"exgr"', f'"{method}"')
    season = make_season(tmp_path / "bench", settings, WHOLE_BENCH)
    for number, by in enumerate((1, 1, 2)):
        disc, size = (160 // by, 120 // by, 40 / by), (320 // by, 240 // by)
        picture = bench_picture([disc], size, seed=number)
        moment = datetime(2031, 4, 1 + number, 10, tzinfo=UTC)
        season.archive.store("bench", moment, encoded(picture), ".png")
    report = measure(season)
    *_, ordinary, other = season.catalogue.daily("bench")
    assert other.frames_used == ordinary.frames_used == 1
    assert other.cover == pytest.approx(ordinary.cover, rel=0.05)
    widths = [day.cover_high - day.cover_low for day in (ordinary, other)]
    assert widths[1] >= widths[0] > 0.01 * ordinary.cover
    assert other.parts
    assert "taken as they are" in report.notes[0]


def test_frames_of_a_renamed_camera_do_not_mix_with_the_new_ones(season):
    fill(season, days=2)
    measure(season)
    season.catalogue.close()
    renamed = make_season(
        season.folder,
        SETTINGS.replace("cameras.bench", "cameras.roof"),
        REGIONS.replace('"bench"', '"roof"'),
    )
    moment = datetime(2031, 4, 1, 10, tzinfo=UTC) + timedelta(minutes=7)
    renamed.archive.store("roof", moment, encoded(bench_picture([(80, 120, 30)])), ".png")
    measure(renamed)
    (day,) = renamed.catalogue.daily("basil")
    assert (day.frames_used, day.area_cm2) == (1, pytest.approx(disc_px(30) / 100, rel=0.01))
    before = tables(renamed)[1:]
    renamed.index(rebuild=True)
    measure(renamed)
    assert tables(renamed)[1:] == before
    renamed.catalogue.close()


def test_old_values_are_gone_as_soon_as_a_changed_setting_begins_to_be_measured(filled):
    measure(filled)
    changed = reopened(filled, SETTINGS.replace("px_per_cm = 10", "px_per_cm = 20"))

    def stop(items, total, label):
        if label == "measuring":
            raise KeyboardInterrupt
        yield from items

    with pytest.raises(KeyboardInterrupt):
        measure(changed, workers=1, track=stop)
    assert changed.catalogue.daily() == []
    assert frames_waiting(changed) == 15


def test_what_is_left_out_is_told_of_the_season_and_not_of_the_frames_measured_now(filled):
    """The dark frame is measured in a run that ends before its time, or beside later ones."""
    dark = encoded(bench_picture([], ground=(2, 2, 2)))
    filled.archive.store("bench", datetime(2031, 4, 1, 9, 30, tzinfo=UTC), dark, ".png")
    before = measure(filled)
    filled.archive.store("bench", datetime(2031, 4, 2, 9, 30, tzinfo=UTC), dark, ".png")
    report = measure(filled)
    listed = list_frames(filled, left_out=True)
    assert (before.measured, report.measured) == (16, 1)
    assert (listed.left_out, listed.looked_at) == (2, 17)
    assert (report.frames_left_out, report.frames) == (2, 17)
    assert report.left_out == {"dark": 2}
    assert "left out 2 of the season's 17 frames: 2 dark" in telling.measured(report)


def test_a_file_damaged_after_it_was_filed_is_left_out(filled):
    filled.index()
    path = filled.catalogue.frames()[0].path
    (filled.folder / path).write_bytes(b"no picture any more")
    report = measure(filled)
    assert report.left_out == {"unreadable": 1}
    assert filled.catalogue.daily("basil")[0].left_out == {"unreadable": 1}


def test_a_catalogue_made_again_gives_the_same_tables(filled):
    measure(filled)
    before = tables(filled)
    filled.catalogue.close()
    for file in filled.folder.glob("catalogue.sqlite*"):
        file.unlink()
    again = Season(filled.folder)
    again.index(rebuild=True)
    measure(again)
    assert tables(again) == before


def test_kills_at_random_moments_end_in_the_undisturbed_tables(tmp_path):
    """SIGKILL, twelve times, at moments spread over start, indexing, measuring and writing."""
    undisturbed, killed = (make_season(tmp_path / name) for name in ("calm", "rough"))
    for season in (undisturbed, killed):
        fill(season, days=30, a_day=3, growth=0.2)
    measure(undisturbed)
    assert len({d.area_cm2 for d in undisturbed.catalogue.daily("basil")}) == 30
    command = [sys.executable, "-m", "lapsekit", "measure", "--season", str(killed.folder)]
    began = time.monotonic()
    subprocess.run(
        [*command[:4], "--season", str(undisturbed.folder)], check=True, capture_output=True
    )
    start_up = time.monotonic() - began
    moments = random.Random(3)
    kills = 0
    while kills < 12:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(moments.uniform(0.5, 1.15) * start_up)
        process.send_signal(signal.SIGKILL)
        kills += process.wait() == -signal.SIGKILL
        if not kills % 4:  # start over now and then, so that kills hit every phase
            for file in killed.folder.glob("catalogue.sqlite*"):
                file.unlink()
    subprocess.run(command, check=True, capture_output=True)
    assert tables(killed) == tables(undisturbed)
