"""The commands as a grower types them: what they print, how they end, and what bad input does."""

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image

from tests.frames.test_inspection import exif, png_header
from tests.scenes import (
    REGIONS,
    SETTINGS,
    as_grey,
    bench_picture,
    encoded,
    fill,
    make_season,
)

PATTERN = "%Y%m%d-%H%M%S"


def lapsekit(*arguments, cwd=None, **environment):
    return subprocess.run(
        [sys.executable, "-m", "lapsekit", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=os.environ | environment,
        check=False,
    )


def succeeded(*arguments, **options):
    done = lapsekit(*arguments, **options)
    assert done.returncode == 0, done.stderr
    return done.stdout


def refused(*arguments, code, **options):
    """The message of a command that must fail with `code`, and without a traceback."""
    done = lapsekit(*arguments, **options)
    assert done.returncode == code, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    return done.stderr


def started(*arguments):
    return subprocess.Popen(
        [sys.executable, "-m", "lapsekit", *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.fixture
def bench(tmp_path):
    """A season folder; the object is closed so that commands have it to themselves."""
    make_season(tmp_path / "bench").catalogue.close()
    return tmp_path / "bench"


@pytest.fixture
def photos(tmp_path):
    folder = tmp_path / "photos"
    folder.mkdir()
    return folder


def test_a_first_season_from_nothing_to_a_site(tmp_path, photos):
    """new, import, measure, growth, film, site, in the words of the README."""
    for number in range(8):
        discs = [(160, 120, 20 + 3 * number)]
        (photos / f"202604{number + 1:02}-120000.png").write_bytes(
            encoded(bench_picture(discs, seed=number))
        )
    folder = tmp_path / "my-season"
    assert "made" in succeeded("new", folder, "--time-zone", "CET", "--sown", "2026-03-20")
    said = succeeded("import", photos, "--camera", "bench", "--pattern", PATTERN, "-s", folder)
    assert "filed 8 frames (times without an offset: CET)" in said
    assert "measured 8 frames" in succeeded("measure", cwd=folder)
    assert "nothing to measure: all 8 frames are up to date" in succeeded("measure", cwd=folder)
    assert "RGR" in succeeded("growth", cwd=folder)
    rows = (folder / "growth" / "daily.csv").read_text().splitlines()
    assert rows[0].startswith("region,day,plant_age_days,area_cm2")
    assert rows[1].startswith("bench,2026-04-01,12,,,,")
    assert (folder / "growth" / "growth.svg").read_text().lstrip().startswith("<?xml")
    assert "76 pictures of 8 frames" in succeeded("film", cwd=folder)  # 8 x 0.4 s x 24
    assert "pages, " in succeeded("site", cwd=folder)
    assert (folder / "site" / "index.html").is_file()


def test_json_is_one_object_on_standard_output(bench):
    season = make_season(bench)
    fill(season, days=1)
    season.catalogue.close()
    report = json.loads(succeeded("measure", "-s", bench, "--json"))
    assert (report["measured"], report["done_before"]) == (3, 0)
    assert json.loads(succeeded("growth", "-s", bench, "--json"))["rows"][0]["frames_used"] == 3


@pytest.mark.parametrize("orientation", [1, 6])
def test_a_mask_has_the_size_of_the_upright_picture_and_holds_0_and_255(tmp_path, orientation):
    photo, out = tmp_path / "x.jpg", tmp_path / "mask.png"
    scene = bench_picture([(160, 120, 60)])
    photo.write_bytes(encoded(scene, "JPEG", quality=95, exif=exif(orientation)))
    facts = json.loads(succeeded("mask", photo, "--out", out, "--method", "exgr", "--json"))
    with Image.open(out) as mask:
        assert mask.mode == "L"
        assert mask.size == ((320, 240) if orientation == 1 else (240, 320))
        counts = mask.histogram()
    assert counts[0] + counts[255] == 320 * 240
    assert facts["cover"] == counts[255] / (320 * 240)
    assert facts["cover"] == pytest.approx(3.1416 * 60**2 / (320 * 240), rel=0.03)


@pytest.mark.parametrize("method", ["model", "exgr"])
def test_a_mask_of_a_grey_picture_says_that_it_has_no_colours(tmp_path, method):
    photo, coloured = tmp_path / "x.jpg", bench_picture([(160, 120, 60)])
    for picture, is_grey in ((coloured, False), (as_grey(coloured), True)):
        photo.write_bytes(encoded(picture, "JPEG"))
        done = lapsekit("mask", photo, "--out", tmp_path / "m.png", "--method", method, "--json")
        assert done.returncode == 0
        assert json.loads(done.stdout)["is_grey"] is is_grey
        assert ("without colours" in done.stderr) is is_grey


@pytest.mark.parametrize("out", ["x.png", "20310401T100000Z.png", "m.jpg", "nowhere/m.png"])
def test_a_mask_never_overwrites_a_frame_and_is_a_png(tmp_path, out):
    photo = tmp_path / "x.png"
    photo.write_bytes(encoded(bench_picture([])))
    before = photo.read_bytes()
    assert "--out" in refused("mask", photo, "--out", tmp_path / out, code=78)
    assert photo.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["x.png"]


def bad_photos():
    good = encoded(bench_picture([]), "JPEG")
    return {
        "20260401-120000.jpg": (good[: len(good) // 2], "truncated or damaged"),
        "20260401-120100.jpg": (b"Dear diary, it rained.\n" * 9, "not a JPEG"),
        "20260401-120200.jpg": (b"", "empty"),
        "20260401-120300.png": (png_header(40_000, 40_000), "megapixels"),
    }


@pytest.mark.parametrize("name", bad_photos())
def test_a_bad_picture_is_refused_by_name_and_the_others_come_in(bench, photos, name):
    data, said = bad_photos()[name]
    (photos / name).write_bytes(data)
    (photos / "20260402-120000.png").write_bytes(encoded(bench_picture([])))
    done = lapsekit("import", photos, "--camera", "bench", "--pattern", PATTERN, "-s", bench)
    assert done.returncode == 65
    assert name in done.stdout
    assert said in done.stdout
    assert "Traceback" not in done.stderr
    assert "filed 1 frame " in done.stdout
    assert (photos / name).read_bytes() == data


@pytest.mark.parametrize("name", bad_photos())
def test_a_bad_picture_has_no_mask(tmp_path, photos, name):
    data, said = bad_photos()[name]
    (photos / name).write_bytes(data)
    message = refused("mask", photos / name, "--out", tmp_path / "m.png", code=65)
    assert name in message
    assert said in message
    assert not (tmp_path / "m.png").exists()


def test_a_folder_that_cannot_be_read_is_told(bench, tmp_path):
    message = refused("import", tmp_path / "nowhere", "--camera", "bench", "-s", bench, code=74)
    assert "nowhere: cannot be read (No such file or directory)" in message


@pytest.mark.parametrize(
    ("pattern", "said"),
    [
        ("%m%d-%H%M%S", "year, month and day are needed"),
        ("%Y%m%d-%Y", "stands twice"),
        ("%Y%m%d-%Q", "bad directive"),
    ],
)
def test_a_pattern_that_cannot_give_a_day_is_refused(bench, photos, pattern, said):
    command = ("import", photos, "--camera", "bench", "--pattern", pattern, "-s", bench)
    assert said in refused(*command, code=78)


@pytest.mark.parametrize(
    "command", [("frames",), ("diary",), ("import", "photos", "--camera", "bench")]
)
def test_days_the_wrong_way_round_are_refused_with_both_and_one_day_is_none(bench, photos, command):
    told = [photos if part == "photos" else part for part in command]
    said = refused(*told, "-s", bench, "--from", "2031-04-09", "--until", "2031-04-02", code=78)
    assert "--from 2031-04-09 is later than --until 2031-04-02" in said
    one = lapsekit(*told, "-s", bench, "--from", "2031-04-02", "--until", "2031-04-02")
    assert "later than" not in one.stderr and one.returncode != 78


@pytest.mark.parametrize(
    "command",
    [
        ("frames", "--from"),
        ("film", "--since"),
        ("new", "x", "--sown"),
        ("propose", "--until"),
        ("explain", "basil"),
    ],
)
def test_a_day_that_is_written_otherwise_is_refused_with_the_way_to_write_it(command):
    said = refused(*command, "31.12.2030", code=2)
    assert '"31.12.2030" is not written YYYY-MM-DD; write 2030-12-31' in said
    assert "Value error" not in said


def test_a_pattern_that_fits_no_name_is_told_with_one_of_them(bench, photos):
    (photos / "IMG_1.png").write_bytes(encoded(bench_picture([])))
    done = lapsekit("import", photos, "--camera", "bench", "--pattern", PATTERN, "-s", bench)
    assert done.returncode == 65
    assert (
        "passed over: 1 file, IMG_1.png for one: the name does not fit the pattern" in done.stdout
    )


def test_a_title_that_cannot_be_used_makes_no_season(tmp_path):
    assert "season.title" in refused("new", tmp_path / "x", "--title", "", code=78)
    assert list(tmp_path.iterdir()) == []


def test_one_camera_that_fails_does_not_keep_the_others_from_capturing(bench, tmp_path):
    (tmp_path / "x.png").write_bytes(encoded(bench_picture([])))
    cameras = (
        'kind = "command"\ncommand = ["false"]\n[cameras.roof]\nkind = "command"\n'
        f'command = ["cat", "{tmp_path / "x.png"}"]'
    )
    (bench / "season.toml").write_text(SETTINGS.replace('kind = "files"\npx_per_cm = 10', cameras))
    assert "failed with code 1" in refused("capture", "-s", bench, code=69)
    assert len(list((bench / "frames" / "roof").rglob("*.png"))) == 1


def test_a_diary_with_semicolons_is_told_by_the_site(bench):
    (bench / "diary.csv").write_text("date;region;event;note\n2031-04-01;basil;fed;\n")
    assert "must be date,region,event,note (with commas)" in succeeded("site", "-s", bench)


def test_growth_says_when_measurements_are_not_of_todays_settings(bench):
    season = make_season(bench)
    fill(season, days=1)
    season.index()
    season.catalogue.close()
    done = lapsekit("growth", "-s", bench)
    assert "3 frames not measured by today's settings yet" in done.stderr


def test_a_folder_without_permission_is_told(bench, photos):
    """As another user, since root may read everything."""
    if os.geteuid() != 0:
        pytest.skip("changing the user needs root")
    (photos / "20260401-120000.png").write_bytes(encoded(bench_picture([])))
    photos.chmod(0o700)
    code = (
        "import os, sys\n"
        "import lapsekit.cli, lapsekit.frames.bringing_in, lapsekit.telling\n"
        "os.setgid(65534); os.setuid(65534)\n"
        "from pathlib import Path\n"
        "from lapsekit.frames.bringing_in import _pictures\n"
        "try: _pictures(Path(sys.argv[1]))\n"
        "except Exception as error: print(type(error).__name__, error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(photos)], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("ArchiveError")
    assert "cannot be read (Permission denied)" in done.stdout


def test_a_full_disk_is_told_and_loses_nothing(small_disk, photos):
    """Import on a tmpfs too small for all of it; with more room the rest comes in."""
    bench = small_disk("1m") / "bench"
    make_season(bench).catalogue.close()
    pictures = [encoded(bench_picture([], seed=n)) for n in range(20)]
    for number, data in enumerate(pictures):
        (photos / f"202604{number + 1:02}-120000.png").write_bytes(data)
    command = ("import", photos, "--camera", "bench", "--pattern", PATTERN, "-s", bench)
    assert "full" in refused(*command, code=74)
    stored = sorted((bench / "frames").rglob("*.png"))
    assert 2 <= len(stored) < 20
    assert [p.read_bytes() for p in stored] == pictures[: len(stored)]
    assert list((bench / "frames").rglob(".part-*")) == []
    small_disk("8m")
    assert f"filed {20 - len(stored)} frames" in succeeded(*command)


@pytest.mark.parametrize("command", ["measure", "site"])
def test_work_on_a_full_disk_names_a_file_and_what_to_do(small_disk, command):
    season = make_season(small_disk("2m") / "bench")
    fill(season, days=1)
    season.index()
    season.catalogue.close()
    with suppress(OSError):
        (season.folder.parent / "filling").write_bytes(bytes(4_000_000))
    message = refused(command, "-s", season.folder, code=74)
    assert f"{season.folder}/" in message
    assert "the disk is full; free some space" in message


def test_a_message_about_the_folder_one_stands_in_names_it(tmp_path):
    message = refused("measure", cwd=tmp_path, code=66)
    assert message.startswith(f"lapsekit: {tmp_path}: no season.toml there")


def test_two_frames_of_one_second_are_kept_and_a_copy_is_skipped(bench, photos):
    for number, folder in enumerate(("a", "b", "c")):
        (photos / folder).mkdir()
        data = encoded(bench_picture([], seed=number % 2))
        (photos / folder / "20260401-120000.png").write_bytes(data)
    said = succeeded("import", photos, "--camera", "bench", "--pattern", PATTERN, "-s", bench)
    assert "filed 2 frames" in said
    assert "skipped: 1 already there" in said
    names = sorted(p.name for p in (bench / "frames").rglob("*.png"))
    assert names == ["20260401T100000Z-2.png", "20260401T100000Z.png"]


def test_a_frame_from_the_future_is_kept_aside_with_a_warning(bench, photos):
    tomorrow = datetime.now(UTC) + timedelta(days=2)
    (photos / f"{tomorrow:%Y%m%d-%H%M%S}.png").write_bytes(encoded(bench_picture([])))
    said = succeeded("import", photos, "--camera", "bench", "--pattern", PATTERN, "-s", bench)
    assert "kept aside: 1 frame dated later than this machine's clock" in said
    assert len(list((bench / "frames" / "bench" / "aside").iterdir())) == 1


def test_a_dry_run_tells_what_would_happen_and_needs_no_lock(bench, photos):
    tomorrow = datetime.now(UTC) + timedelta(days=2)
    (photos / f"{tomorrow:%Y%m%d-%H%M%S}.png").write_bytes(encoded(bench_picture([])))
    command = ("import", photos, "--camera", "bench", "--pattern", PATTERN, "-s", bench)
    said = succeeded(*command, "--dry-run")
    assert "would be kept aside: 1 frame dated" in said
    assert not (bench / ".lock").exists()


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("season.toml", "daily_at", "dayly_at", 'did you mean "daily_at"'),
        ("regions.toml", "[320, 240]", "[999, 240]", "outside the picture"),
        ("season.toml", "sown = 2031-03-25", "sown = 25.03.2031", "there stands sown"),
        (
            "season.toml",
            "px_per_cm = 10",
            "scale_points = [[10, 20], [999, 20]]\nscale_length_cm = 100",
            "scale_points, point 2 = [999, 20] lies outside the picture (0 to 320",
        ),
        (
            "regions.toml",
            "[[0, 0], [159.5, 0], [159.5, 240], [0, 240]]",
            "[[0, 0], [9, 9]]",
            "at least three points",
        ),
    ],
)
def test_a_wrong_setting_stops_a_stage_before_it_starts(bench, file, old, new, said):
    season = make_season(bench)
    fill(season, days=1)
    season.catalogue.close()
    text = {"season.toml": SETTINGS, "regions.toml": REGIONS}[file]
    (bench / file).write_text(text.replace(old, new, 1))
    message = refused("measure", "-s", bench, code=78)
    assert str(bench / file) in message
    assert said in message
    assert len(list((bench / "frames").rglob("*.png"))) == 3


def test_a_folder_that_is_no_season_is_told(tmp_path):
    assert "lapsekit new" in refused("measure", "-s", tmp_path, code=66)


def test_a_folder_that_holds_something_is_not_made_into_a_season(tmp_path):
    (tmp_path / "x").write_text("mine")
    assert "not empty" in refused("new", tmp_path, code=66)
    assert (tmp_path / "x").read_text() == "mine"


def test_an_unknown_camera_is_told_with_what_to_add(bench, photos):
    message = refused("import", photos, "--camera", "roof", "-s", bench, code=78)
    assert '[cameras.roof]\nlapsekit: kind = "files"' in message


def test_two_measures_at_once_wait_for_each_other(bench):
    season = make_season(bench)
    fill(season, days=12, a_day=6)
    season.catalogue.close()
    both = [started("measure", "--json", "--season", bench) for _ in range(2)]
    results = [process.communicate(timeout=120) for process in both]
    assert [p.returncode for p in both] == [0, 0]
    done = sorted(json.loads(out)["measured"] for out, _ in results)
    assert done == [0, 72]


def test_measure_and_site_at_once_end_in_a_whole_site(bench):
    season = make_season(bench)
    fill(season, days=12)
    season.catalogue.close()
    both = [started("measure", "-s", bench), started("site", "-s", bench)]
    told = [process.communicate(timeout=120) for process in both]
    assert [p.returncode for p in both] == [0, 0], told
    succeeded("site", "-s", bench)
    assert len(list((bench / "site" / "day").glob("*/index.html"))) == 12


def test_a_stage_that_may_not_wait_says_who_holds_the_season(bench):
    season = make_season(bench)
    with season.lock("measure"):
        began = time.monotonic()
        message = refused("site", "-s", bench, "--wait", "0", code=75)
        assert f"lapsekit measure (process {os.getpid()})" in message
        assert time.monotonic() - began < 20
    assert succeeded("growth", "-s", bench, "--wait", "0")


def test_a_stage_that_waits_says_for_whom(bench):
    season = make_season(bench)
    with season.lock("measure"):
        process = subprocess.Popen(
            [sys.executable, "-m", "lapsekit", "growth", "--season", str(bench)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        first = process.stderr.readline()
        assert first == f"waiting for lapsekit measure (process {os.getpid()})\n"
        assert process.poll() is None
    assert process.wait(timeout=60) == 0
    process.stderr.close()


def test_capture_files_one_frame_now(bench, tmp_path):
    (tmp_path / "x.png").write_bytes(encoded(bench_picture([])))
    command = f'kind = "command"\ncommand = ["cat", "{tmp_path / "x.png"}"]'
    (bench / "season.toml").write_text(SETTINGS.replace('kind = "files"', command))
    (path,) = json.loads(succeeded("capture", "-s", bench, "--json"))["filed"]
    with Image.open(bench / path) as filed, Image.open(tmp_path / "x.png") as given:
        assert filed.tobytes() == given.tobytes()


def test_a_camera_that_fails_is_told(bench):
    (bench / "season.toml").write_text(
        SETTINGS.replace('kind = "files"', 'kind = "command"\ncommand = ["false"]')
    )
    assert "failed with code 1" in refused("capture", "-s", bench, code=69)


def test_the_diary_line_of_the_readme_can_be_typed_as_it_stands(bench):
    readme = (Path(__file__).parent.parent / "README.md").read_text().splitlines()
    (line,) = (line.strip() for line in readme if line.startswith("    lapsekit diary add"))
    line = line.replace("lapsekit", f"{sys.executable} -m lapsekit", 1)
    season = (bench / "season.toml").read_text()
    (bench / "season.toml").write_text(season.replace("2031-03-25", "2020-03-25"))
    done = subprocess.run(
        ["sh", "-c", line], cwd=bench, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert ",potted on," in (bench / "diary.csv").read_text()


def test_the_commands_are_these_and_the_readme_knows_them():
    said = succeeded("--help")
    readme = (Path(__file__).parent.parent / "README.md").read_text()
    for command in [
        "new",
        "import",
        "index",
        "mask",
        "propose",
        "measure",
        "growth",
        "diary",
        "weather",
        "contrast",
        "responses",
        "plan",
        "film",
        "site",
        "beside",
        "publish",
        "serve",
        "capture",
        "morning",
        "run",
        "check",
        "alert",
        "trust",
        "demo",
    ]:
        assert f"\n  {command} " in said
        assert f"lapsekit {command}" in readme, command


def test_a_fault_of_our_own_is_no_bare_traceback(bench, monkeypatch):
    code = (
        "from lapsekit import cli\n"
        "from lapsekit.cli import seasons\n"
        "def broken(*_): raise ZeroDivisionError('oh')\n"
        "seasons.Season = broken\n"
        "import sys; sys.argv = ['lapsekit', 'index']\n"
        "cli.main()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 70
    assert "Traceback" not in done.stderr
    assert "LAPSEKIT_TRACEBACK=1" in done.stderr


def test_an_interrupted_stage_says_how_to_go_on_and_does(bench):
    season = make_season(bench)
    fill(season, days=20, a_day=6)
    process = started("measure", "-s", bench, "--workers", 1)
    while not season.catalogue.screenings():
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 130
    assert said.endswith("lapsekit: interrupted; run the same command again to go on\n")
    done = len(season.catalogue.screenings())
    season.catalogue.close()
    assert 0 < done < 120
    assert f"({done} were up to date)" in succeeded("measure", "-s", bench)


def test_the_preview_tells_its_address_and_stops_when_told(bench):
    (bench / "site").mkdir()
    (bench / "site" / "index.html").write_text("<!doctype html><title>x</title>")
    process = started("serve", "-s", bench, "--port", 0)
    told = process.stdout.readline()
    address = told.split()[1]
    with urllib.request.urlopen(address, timeout=10) as answer:
        assert answer.read() == b"<!doctype html><title>x</title>"
    process.send_signal(signal.SIGINT)
    rest, _ = process.communicate(timeout=30)
    assert rest == "stopped\n"
    assert process.returncode == 0
