"""A frame with somebody in it comes on no page and into no film without the grower's yes."""

import shutil
from datetime import UTC, datetime

import av
import cv2
import pytest

from lapsekit.film.making import make_film
from lapsekit.judging import rule
from lapsekit.measuring import measure, rejudge
from lapsekit.season import Season
from lapsekit.site.build import build_site
from lapsekit.unattended.morning import morning
from tests.scenes import SETTINGS, encoded, make_season, tables
from tests.vision.drawn_bench import HEIGHT, POT, START, WIDTH, frame, moment

NOON, COUNT = 17, 24  # 11:00 UTC of the fifth day: that day's picture, if nobody stood in it
SLEEVE = (205, 20, 190)


def somebody(picture):
    """The picture with a sleeve of a colour that nothing else has reaching into it."""
    picture = picture.copy()
    cv2.line(picture, (WIDTH // 2 + 30, HEIGHT), (WIDTH // 2 - 40, HEIGHT // 2), SLEEVE, 46)
    return picture


def shows_sleeve(picture):
    red, green, blue = (picture[..., k].astype(int) for k in range(3))
    return bool(((red - green > 60) & (blue - green > 60)).sum() >= 3)


def pictures_in(folder):
    """Every picture in a folder and every frame of its films and of their parts."""
    for path in sorted(folder.rglob("*")):
        if path.suffix in {".jpg", ".jpeg", ".png", ".webp"}:
            yield cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
        if path.suffix == ".mp4":
            with av.open(str(path)) as film:
                yield from (shot.to_ndarray(format="rgb24") for shot in film.decode(video=0))


def pictures_of(season):
    """Every picture of the site and of the films."""
    yield from pictures_in(season.site)
    yield from pictures_in(season.films)


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Six days of four frames, filed; somebody stands in one at the hour of the daily picture."""
    season = make_season(
        tmp_path_factory.mktemp("kept") / "bench",
        SETTINGS.replace("blurred_above = 1\n", "") + "[film]\nshort_side_px = 240\n",
        POT,
    )
    for number in range(COUNT):
        picture = somebody(frame(number)) if number == NOON else frame(number)
        season.archive.store("bench", moment(number), encoded(picture, "JPEG", quality=90), ".jpg")
    season.catalogue.close()
    return season.folder


@pytest.fixture
def season(kept, tmp_path):
    shutil.copytree(kept, tmp_path / "bench")
    return Season(tmp_path / "bench")


def made(season):
    measure(season)
    build_site(season)
    make_film(season)
    return list(pictures_of(season))


def path_of(season, number):
    return next(f.path for f in season.catalogue.frames() if f.taken_at == moment(number))


def test_the_sleeve_would_be_seen(season):
    """The tests below look for something that their own eyes can see."""
    assert shows_sleeve(somebody(frame(NOON)))
    assert not any(shows_sleeve(frame(number)) for number in range(COUNT))


def test_nobody_comes_on_pages_and_into_films_unless_the_grower_says_yes(season):
    shown = made(season)
    assert len(shown) > 10
    assert not any(map(shows_sleeve, shown))
    visited = path_of(season, NOON)
    day = moment(NOON).date()
    assert season.daily_pictures()["bench"][day].path not in (visited, None)
    assert all(m.path != visited for _, m in season.catalogue.measurements())
    rule(season, [visited], use=True)
    rejudge(season)
    assert season.daily_pictures()["bench"][day].path == visited
    assert any(map(shows_sleeve, made(season)))
    (season.folder / "verdicts.csv").unlink()  # the yes is taken back, and nothing judged yet
    (told,) = build_site(season).problems
    assert "it shows frames that are not to be used" in told
    assert not any(map(shows_sleeve, pictures_in(season.site)))
    assert any(map(shows_sleeve, pictures_in(season.films)))  # the old film, for the grower alone
    make_film(season)
    assert build_site(season).problems == []
    assert not any(map(shows_sleeve, pictures_of(season)))
    assert (season.site / "film" / "bench.mp4").exists()


def test_a_no_counts_on_pages_and_in_films_before_anything_is_judged_anew(season):
    made(season)
    day = moment(NOON + 4).date()
    shown = season.daily_pictures()["bench"][day].path
    (season.folder / "verdicts.csv").write_text(f"frame,verdict\n{shown},no\n")
    assert season.daily_pictures()["bench"][day].path != shown
    assert shown not in {f.path for f in season.usable_frames("bench")[day]}


def test_nobody_is_shown_on_the_morning_after_either(season, tmp_path):
    """Morning by morning, when nothing after the frame can help to see who stands in it."""
    growing = make_season(tmp_path / "growing", (season.folder / "season.toml").read_text(), POT)
    for number in range(COUNT):
        data = season.archive.read(f"frames/bench/{moment(number):%Y-%m-%d/%Y%m%dT%H%M%SZ}.jpg")
        growing.archive.store("bench", moment(number), data, ".jpg")
        if number in (NOON, NOON + 2) or number % 4 == 3:
            morning(growing, workers=1)
            assert not any(map(shows_sleeve, pictures_of(growing))), number
    measure(season)  # all at once
    assert tables(growing) == tables(season)


def test_a_frame_nobody_has_looked_at_yet_is_not_shown(season):
    """New frames that are filed and not measured: no page, no film, no daily picture of them."""
    made(season)
    late = datetime(2031, 4, 9, 11, tzinfo=UTC)
    season.archive.store("bench", late, encoded(somebody(frame(40)), "JPEG", quality=90), ".jpg")
    season.index()
    build_site(season)
    make_film(season)
    assert late.date() not in season.daily_pictures()["bench"]
    assert not any(map(shows_sleeve, pictures_of(season)))


def test_the_first_frames_of_an_unattended_camera_wait_for_others(tmp_path):
    """Whoever sets the camera up stands before it; with two frames nobody could tell."""
    for kind, waits in (('"files"', False), ('"replay"\nfolder = "old"', True)):
        settings = SETTINGS.replace('"files"', kind).replace("blurred_above = 1\n", "")
        season = make_season(tmp_path / str(waits), settings, POT)
        for number in range(2):
            season.archive.store("bench", moment(number), encoded(frame(number)), ".png")
        measure(season)
        assert (season.daily_pictures().get("bench", {}) == {}) == waits
        (reasons,) = {s.reasons for _, s in season.catalogue.screenings()}
        assert reasons == (("not looked through",) if waits else ())
        for number in range(2, 5):
            season.archive.store("bench", moment(number), encoded(frame(number)), ".png")
        measure(season)
        assert START.date() in season.daily_pictures()["bench"]
