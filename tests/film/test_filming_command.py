"""`lapsekit film`: what is made by which name, what is refused and in which words."""

import json
import re
import subprocess
import sys

import pytest

from lapsekit.cli import app
from lapsekit.errors import FilmError, LapsekitError, SeasonBusy, SettingsError
from tests.film.coded_season import (
    PLAIN,
    coded_season,
    file_days,
    pictures_of,
)
from tests.film.test_film_cuts import TWO

CUTS = """\
weekly = ["season", "plant"]
[film.cuts.plant]
kind = "region"
regions = ["basil"]
[film.cuts.both]
kind = "then-and-now"
"""


@pytest.fixture
def folder(tmp_path):
    season = coded_season(tmp_path / "bench", PLAIN + CUTS, TWO)
    file_days(season, range(3))
    season.catalogue.close()
    return tmp_path / "bench"


@pytest.fixture
def film(folder, capsys):
    """Runs the command in this process; gives what it printed."""

    def run(*arguments):
        app(["film", "--season", str(folder), *arguments], standalone_mode=False)
        return capsys.readouterr().out

    return run


def made(folder):
    return sorted(path.name for path in (folder / "films").glob("*.mp4"))


def test_without_a_name_the_season_is_filmed_under_its_cameras_name(film, folder):
    said = film()
    assert "bench.mp4: 3.0 s, 30 pictures of 3 frames (30 encoded now)" in said
    assert "bench.mp4 is up to date" in film()
    assert made(folder) == ["bench.mp4"]


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (["--region", "basil"], "region-basil"),
        (["--region", "basil", "--region", "chives"], "together-basil-chives"),
        (["--day", "2031-04-02"], "day.2031-04-02"),
        (["--days", "2"], "recent.days-2"),
        (["--shape", "square"], "bench.square"),
        (["--shape", "picture"], "bench"),
        (["--since", "2031-04-02"], "bench.since-2031-04-02"),
        (["--set", "even_light=true"], "bench.even-light-true"),
        (["--set", "steady=true"], "bench.steady-true"),
        (["recent", "--short-side", "140"], "recent.140"),
        (["plant", "--region", "chives"], "plant.chives"),
        (["--set", 'shows=["date", "curve"]'], "bench.shows-date-curve"),
    ],
)
def test_what_is_said_beside_season_toml_makes_a_film_of_its_own_name(
    film, folder, arguments, name
):
    film(*arguments)
    assert made(folder) == [f"{name}.mp4"]


REFUSALS = [
    (["nothing"], 'no cut "nothing" in [film.cuts]; there is season, recent, day, plant, both'),
    (["plnt"], 'did you mean "plant"?'),
    (["--shape", "round"], "shape = \"round\": write 'picture', 'wide', 'square'"),
    (["--short-side", "9000"], "short_side_px = 9000: write a whole number from"),
    (["--set", "pace"], "write KEY=VALUE, like --set pace=growth"),
    (["--set", "=growth"], "write KEY=VALUE"),
    (["--set", "pce=growth"], 'pce is not a setting; did you mean "pace"?'),
    (["--set", "pace=quick"], 'pace = "quick": write'),
    (["--set", "frames_per_second=many"], 'frames_per_second = "many"'),
    (["--set", "frames_per_second=0"], "frames_per_second = 0"),
    (["--set", "frames_per_second=12.5"], "frames_per_second = 12.5"),
    (["--set", "shows=date"], 'shows = "date"'),
    (["--set", "cut=1"], "cut is not a setting"),
    (["--set", "self=1"], "self is not a setting"),
    (["--set", "kind=[1]"], "kind = [1]"),
    (["--set", "regions=basil"], "say --region instead"),
    (["--set", "day_seconds=1", "--set", "length_seconds=2"], "day_seconds or length_seconds, not"),
    (["--set", "day_seconds=nan"], "day_seconds = nan"),
    (["--kind", "round"], 'kind = "round"'),
    (["--kind", "region"], 'a cut of kind "region" names one region'),
    (["--region", "basl"], 'no region "basl" in regions.toml; did you mean "basil"?'),
    (["--region", "../../x"], 'no region "../../x"'),
    (["../x", "--kind", "season"], '"../x" is no name for a film'),
    (["recent", "--day", "2031-04-02"], 'day says nothing to a cut of kind "recent"'),
    (["--camera", "roof"], 'no camera "roof" in season.toml; it has bench'),
    (["--day", "2031-05-02"], "no usable frame of 2031-05-02; the nearest that has one is"),
    (["--since", "2031-05-02"], "no usable frame from 2031-05-02 on: its latest is of 2031-04-"),
    (["--also", "poster"], 'files 1 = "poster"'),
    (["--set", "encoder=hardware"], "this machine's hardware encodes no film"),
    (["--set", "frames_per_second=1", "--set", "day_seconds=0.1"], "let a day last longer"),
]


@pytest.mark.parametrize(("arguments", "said"), REFUSALS, ids=[" ".join(a) for a, _ in REFUSALS])
def test_what_cannot_be_is_refused_by_key_and_value_and_nothing_is_made(
    film, folder, arguments, said
):
    with pytest.raises(LapsekitError, match=re.escape(said)):
        film(*arguments)
    assert made(folder) == []


def test_a_cut_called_like_a_camera_is_refused(folder, film):
    text = (folder / "season.toml").read_text()
    (folder / "season.toml").write_text(
        text.replace("cuts.plant", "cuts.bench").replace(
            'weekly = ["season", "plant"]', 'weekly = ["bench"]'
        )
    )
    with pytest.raises(FilmError, match='the cut "bench" is called like a camera'):
        film("bench")
    (folder / "season.toml").write_text(text.replace("cuts.plant", "cuts.season"))
    with pytest.raises(SettingsError, match=r'cuts.season: its kind is "region"'):
        film()


def test_one_cut_that_cannot_be_made_does_not_keep_the_others_from_being_made(film, folder):
    with pytest.raises(FilmError, match="then-and-now needs an earlier season"):
        film("--all")
    assert made(folder) == ["plant.mp4"]


def test_weekly_makes_the_cuts_that_are_named_for_it_and_none_where_none_is(film, folder):
    film("--weekly")
    assert made(folder) == ["bench.mp4", "plant.mp4"]
    text = (folder / "season.toml").read_text()
    (folder / "season.toml").write_text(text.replace('["season", "plant"]', "[]"))
    for path in (folder / "films").glob("*.mp4"):
        path.unlink()
    assert "nothing was filmed" in film("--weekly")
    assert made(folder) == []


def test_the_list_tells_every_cut_with_its_file_and_makes_nothing(film, folder):
    film("plant")
    lines = film("--list").splitlines()
    assert [line.split(":")[0] for line in lines] == ["season", "recent", "day", "plant", "both"]
    assert lines[0].endswith("1 s a day (not made yet)")
    assert lines[3].startswith("plant: region of basil, picture, 128 px")
    assert lines[3].endswith("plant.mp4)")
    facts = json.loads(film("--list", "--json"))["cuts"]
    assert facts["plant"]["made"] and not facts["season"]["made"]
    assert facts["season"]["day_seconds"] == 1
    assert made(folder) == ["plant.mp4"]


def test_json_is_one_object_for_all_films(film, folder):
    facts = json.loads(film("season", "plant", "--json"))["films"]
    assert [each["cut"] for each in facts] == ["season", "plant"]
    assert facts[0]["pictures"] == 30 and facts[0]["made"]
    assert [each["made"] for each in json.loads(film("season", "--json"))["films"]] == [False]


def test_what_was_left_out_is_told_in_words(film, folder):
    frame = next((folder / "frames").rglob("20310402*.png"))
    frame.write_bytes(b"no picture")
    said = film()
    assert f"left out: frames/bench/2031-04-02/{frame.name}: " in said


def test_a_season_that_another_process_works_on_is_waited_for_and_then_left_alone(folder, film):
    season = coded_season(folder, PLAIN + CUTS, TWO)
    with season.lock("measure"):
        done = subprocess.run(
            [sys.executable, "-m", "lapsekit", "film", "--season", folder, "--wait", "0"],
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == SeasonBusy.exit_code
    assert "is held by lapsekit measure" in done.stderr and "Traceback" not in done.stderr
    assert made(folder) == []


def test_a_preview_is_told_and_lies_beside_the_film(film, folder):
    assert "bench.preview.mp4" in film("--preview")
    assert made(folder) == ["bench.preview.mp4"]
    assert pictures_of(folder / "films" / "bench.preview.mp4")[0].shape[0] == 128
