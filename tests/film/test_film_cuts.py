"""Cuts show what they are asked for: a plant, plants in step, seasons in step, last days, a day."""

import re
from datetime import timedelta
from pathlib import Path

import cv2
import numpy as np
import pytest

from lapsekit.errors import FilmError
from lapsekit.film.layout import panel_boxes
from lapsekit.film.making import make_film
from lapsekit.film.records import Films
from lapsekit.lettering import PAPER
from tests.film.coded_season import (
    CAMERA,
    FIRST,
    FPS,
    HEIGHT,
    PLAIN,
    WIDTH,
    code_of,
    coded,
    coded_season,
    file_days,
    file_frame,
    level_of,
    noon,
    pictures_of,
    reopened,
)

TWO = """\
[[region]]
name = "basil"
camera = "bench"
sown = 2031-03-30
[[region.outline]]
from = 2031-04-01
points = [[10, 20], [80, 20], [80, 90], [10, 90]]
[[region]]
name = "chives"
camera = "bench"
sown = 2031-04-02
[[region.outline]]
from = 2031-04-03
points = [[110, 30], [180, 30], [180, 100], [110, 100]]
"""


@pytest.fixture
def opened():
    """Opens coded seasons, and closes them in the end."""
    seasons = []

    def make(*arguments, **options):
        seasons.append(coded_season(*arguments, **options))
        return seasons[-1]

    yield make
    for season in seasons:
        season.catalogue.close()


def days_shown(film, box=None):
    return [code_of(picture, box) for picture in film]


def both_coded(number):
    """A bench on which the level of either region's place tells the day."""
    picture = coded(0)
    picture[20:90, 10:80] = level_of(number)
    picture[30:100, 110:180] = level_of(number)
    return picture


def test_a_cut_of_one_region_follows_it_where_it_is_moved_to(opened, tmp_path):
    regions = """\
[[region]]
name = "basil"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[40, 40], [140, 40], [140, 140], [40, 140]]
[[region.outline]]
from = 2031-04-09
points = [[440, 300], [540, 300], [540, 400], [440, 400]]
"""
    season = opened(tmp_path / "bench", PLAIN.replace("128", "160"), regions)
    colour, noise = (230, 40, 200), cv2.resize(coded(0), (640, 480))
    for number in range(20):
        picture = noise.copy()
        centre = (90, 90) if number < 8 else (490, 350)
        cv2.circle(picture, centre, 30, colour, -1)
        file_frame(season, noon(number), picture)
    report = make_film(season, "plant", {"kind": "region", "regions": ("basil",)})
    film = pictures_of(report.path)
    assert film[0].shape == (160, 160, 3)
    sizes = []
    for picture in film:
        y, x = np.nonzero(np.abs(picture.astype(int) - colour).sum(axis=2) < 120)
        assert len(x), "the plant is out of the picture"
        assert x.min() > 0 and x.max() < 159 and y.min() > 0 and y.max() < 159
        sizes.append(np.sqrt(4 * len(x) / np.pi))
    assert max(sizes[0], sizes[-1]) > 1.2 * min(sizes)  # it goes wide for the move, and in again
    assert sizes[0] == pytest.approx(60 * 160 / 124, rel=0.06)  # the outline with its room
    steps = np.abs(np.diff(sizes))
    assert steps.max() < 0.05 * max(sizes)


def test_a_region_without_points_is_the_whole_view_and_days_before_its_outline_are_not_shown(
    opened, tmp_path
):
    regions = '[[region]]\nname = "all"\ncamera = "bench"\n[[region.outline]]\nfrom = 2031-04-04\n'
    season = opened(tmp_path / "bench", PLAIN, regions)
    file_days(season, range(6))
    report = make_film(season, "plant", {"kind": "region", "regions": ("all",)})
    assert days_shown(pictures_of(report.path))[::FPS] == [3, 4, 5]


def test_plants_sown_on_different_days_stand_side_by_side_at_the_same_age(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN.replace('"hold"', '"hold"\nshape = "wide"'), TWO)
    for number in range(9):
        file_frame(season, noon(number), both_coded(number))
    said = {"kind": "together", "regions": ("basil", "chives")}
    report = make_film(season, "two", said)
    film = pictures_of(report.path)
    basil, chives = panel_boxes(2, (228, HEIGHT), 1.0)
    # Basil was sown two days before the first frame, chives on the second day, and outlined on the
    # third; ages 1 to 10 are shown.
    assert len(film) == 10 * FPS
    ages = [round(n / FPS) + 1 for n in range(0, 100, FPS)]
    for age, picture in zip(ages, film[FPS // 2 :: FPS], strict=True):
        for box, sown, first in ((basil, -2, 0), (chives, 1, 2)):
            day = sown + age
            if first <= day <= 8:
                assert code_of(picture, box) == day, (age, box)
            else:
                bare = picture[box[1] + 40 : box[3], box[0] : box[2]]  # below its title
                assert np.abs(bare.astype(int) - PAPER).max() < 16


def test_days_that_one_plant_alone_lacks_are_one_card_on_its_place(opened, tmp_path):
    regions = TWO.replace("sown = 2031-04-02", "sown = 2031-03-28").replace("04-03", "04-01")
    season = opened(tmp_path / "bench", PLAIN.replace('"hold"', '"hold"\nshape = "wide"'), regions)
    for number in (0, 1, 4, 5, 6, 7):  # chives are two days older: age 3 is noon 1 for basil
        file_frame(season, noon(number), both_coded(number))
    said = {"kind": "together", "regions": ("basil", "chives")}
    film = pictures_of(make_film(season, "two", said).path)
    boxes = panel_boxes(2, film[0].shape[1::-1], 1.0)
    seen = [[code_of(picture, box) for box in boxes] for picture in film[FPS // 2 :: FPS]]
    none = next(each for pair in seen for each in pair if each > 20)
    # Ages 2 to 11; basil lacks 4 and 5, chives 6 and 7, and ends at 11.
    assert [pair[0] for pair in seen] == [0, 1, none, none, 4, 5, 6, 7, none, none]
    assert [pair[1] for pair in seen] == [none, none, 0, 1, none, none, 4, 5, 6, 7]
    cards = [film[FPS // 2 + n * FPS][boxes[0][1] :, : boxes[0][2]].astype(int) for n in (2, 3)]
    assert np.abs(cards[0][40:] - cards[1][40:]).max() < 16
    assert np.abs(cards[0][40:] - PAPER).max() > 60, "it says which days"


@pytest.mark.parametrize("shape", ["wide", "square", "upright", "picture"])
@pytest.mark.parametrize("count", [2, 3, 6])
def test_any_number_of_plants_fits_any_shape(opened, tmp_path, shape, count):
    names = [f"plant-{n}" for n in range(count)]
    lefts = [32 + 112 * n for n in range(count)]
    regions = "".join(
        f'[[region]]\nname = "{name}"\ncamera = "bench"\n[[region.outline]]\nfrom = 2031-04-01\n'
        f"points = [[{x}, 160], [{x + 104}, 160], [{x + 104}, 264], [{x}, 264]]\n"
        for name, x in zip(names, lefts, strict=True)
    )
    season = opened(tmp_path / "bench", PLAIN.replace("128", "360"), regions)
    for number in range(2):
        picture = coded(0, (768, 512))
        for n, x in enumerate(lefts):
            picture[160:264, x : x + 104] = level_of(2 * n + number)
        file_frame(season, noon(number), picture)
    said = {"kind": "together", "regions": tuple(names), "shape": shape}
    film = pictures_of(make_film(season, "plants", said).path)
    size = film[0].shape[1::-1]
    for n, box in enumerate(panel_boxes(count, size, 1.0)):
        assert [code_of(picture, box) for picture in film[5::10]] == [2 * n, 2 * n + 1]


def with_earlier(opened, tmp_path, folder="then"):
    settings = f'[site]\nearlier = "../{folder}"\n'
    return opened(tmp_path / "now", PLAIN.replace("128", "240"), more=settings)


def test_an_earlier_season_of_another_camera_stands_beside_this_one_at_the_same_age(
    opened, tmp_path
):
    then = coded_season(tmp_path / "then")
    text = (then.folder / "season.toml").read_text()
    (then.folder / "season.toml").write_text(
        text.replace("2031-03-25", "2031-03-28").replace("Coded bench", "Then")
    )
    then = reopened(then)
    file_days(then, range(6), size=(320, 240))
    then.catalogue.close()
    now = with_earlier(opened, tmp_path)
    file_days(now, range(4, 10))
    report = make_film(now, "both", {"kind": "then-and-now", "shape": "wide"})
    film = pictures_of(report.path)
    left, right = panel_boxes(2, film[0].shape[1::-1], 4 / 3)
    # Ages: then 4 to 9, now 11 to 16, with a card for age 10, which neither has.
    middle = film[FPS // 2 : 6 * FPS : FPS]
    assert [code_of(picture, left) for picture in middle] == [0, 1, 2, 3, 4, 5]
    later = film[-6 * FPS + FPS // 2 :: FPS]
    assert [code_of(picture, right) for picture in later] == [4, 5, 6, 7, 8, 9]
    record = Films(now).record(report.path.stem)
    assert len(record.shows) == len(record.shows_earlier) == 6
    assert record.title == "Then · Coded bench"
    open_files = {str(Path(f"/proc/self/fd/{fd}").resolve()) for fd in fds()}
    assert f"{now.folder / 'catalogue.sqlite'}" in open_files
    assert f"{then.folder / 'catalogue.sqlite'}" not in open_files


def fds():
    return [path.name for path in Path("/proc/self/fd").iterdir()]


def test_a_no_in_the_earlier_season_keeps_the_film_from_being_shown(opened, tmp_path):
    then = coded_season(tmp_path / "then")
    paths = file_days(then, range(3))
    then.catalogue.close()
    now = with_earlier(opened, tmp_path)
    file_days(now, range(3))
    make_film(now, "both", {"kind": "then-and-now"})
    assert Films(now).may_be_shown("both")
    (then.folder / "verdicts.csv").write_text(f"frame,verdict\n{paths[1]},no\n")
    assert not Films(now).may_be_shown("both")
    make_film(now, "both", {"kind": "then-and-now"})
    assert Films(now).may_be_shown("both")
    then.folder.rename(tmp_path / "elsewhere")
    assert not Films(now).may_be_shown("both")


def test_without_an_earlier_season_that_can_be_filmed_it_is_said_where_to_name_one(
    opened, tmp_path
):
    now = with_earlier(opened, tmp_path)
    file_days(now, range(2))
    kind = {"kind": "then-and-now"}
    with pytest.raises(FilmError, match=r"then: no measured season there.*earlier in \[site\]"):
        make_film(now, "both", kind)
    (tmp_path / "then").mkdir()
    (tmp_path / "then" / "catalogue.sqlite").write_bytes(b"")
    with pytest.raises(FilmError, match=r"no season.toml there.*earlier in \[site\]"):
        make_film(now, "both", kind)
    coded_season(tmp_path / "then").catalogue.close()
    with pytest.raises(FilmError, match='then: camera "bench" has no usable frame'):
        make_film(now, "both", kind)
    alone = opened(tmp_path / "alone")
    file_days(alone, [0])
    with pytest.raises(FilmError, match=re.escape('earlier = "../bench-2030"')):
        make_film(alone, "both", kind)
    assert list(now.films.glob("*.mp4")) == []


def test_the_last_days_are_counted_from_the_last_day_with_a_frame(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN)
    file_days(season, [0, 1, 2, 5, 6, 7])
    report = make_film(season, "recent", {"days": 4, "day_seconds": 1.0})
    shown = [day for day, _, _ in Films(season).record(report.path.stem).days]
    assert shown == [f"{FIRST + timedelta(n)}" for n in (5, 6, 7)]
    assert sorted(set(days_shown(pictures_of(report.path)))) == [5, 6, 7]


def test_a_day_is_shown_from_its_first_frame_to_its_last(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN)
    for number in range(2):
        for hour in range(-4, 8):
            file_frame(season, noon(number) + timedelta(hours=hour), coded(12 * number + hour + 4))
    report = make_film(season, "day", {"day": FIRST, "day_seconds": 2.4})
    shown = days_shown(pictures_of(report.path))
    assert shown == [n // 2 for n in range(24)]
    latest = make_film(season, "day", {"day_seconds": 1.2})
    assert days_shown(pictures_of(latest.path)) == list(range(12, 24))


def test_age_in_captions_and_chapters_is_that_of_the_plant_not_of_the_season(opened, tmp_path):
    season = opened(tmp_path / "bench", PLAIN, TWO)
    file_days(season, range(5))
    path = make_film(season, "plant", {"kind": "region", "regions": ("basil",)}).path
    told = path.with_name("plant-captions.vtt").read_text()
    assert "Tuesday, 1 April 2031, day 2" in told
    assert "The film begins, day 2" in path.with_name("plant-chapters.vtt").read_text()


@pytest.mark.parametrize("shape", ["wide", "square", "upright"])
def test_another_shape_than_the_cameras_shows_the_regions_or_all_on_paper(opened, tmp_path, shape):
    region = TWO.split("[[region]]")[2]
    regions = f"[[region]]{region}".replace("2031-04-03", "2031-04-01")
    season = opened(tmp_path / "bench", PLAIN, regions)
    picture = coded(0)
    picture[30:100, 110:180] = (230, 40, 200)
    for number in range(2):
        file_frame(season, noon(number), picture)
    filled = pictures_of(make_film(season, "season", {"shape": shape}).path)[0]
    whole = pictures_of(make_film(season, "season", {"shape": shape, "fit": "whole"}).path)[0]
    pink = [
        (np.abs(p.astype(int) - (230, 40, 200)).sum(axis=2) < 90).sum() for p in (filled, whole)
    ]
    across = {"wide": 228 / WIDTH, "square": 1, "upright": 228 / HEIGHT}[shape]
    assert pink[0] == pytest.approx(70 * 70 * across**2, rel=0.08)
    assert pink[1] > 0
    corners = whole[[2, 2, -3, -3], [2, -3, 2, -3]]
    assert np.abs(corners.astype(int) - PAPER).max() < 12


def test_the_second_camera_has_a_film_of_its_own(opened, tmp_path):
    season = opened(tmp_path / "bench", cameras=CAMERA + CAMERA.replace("bench", "trough"))
    file_days(season, range(2))
    for number in range(2):
        file_frame(season, noon(number), coded(10 + number), camera="trough")
    paths = [make_film(season, "season", {"camera": name}).path for name in ("bench", "trough")]
    assert [path.name for path in paths] == ["bench.mp4", "trough.mp4"]
    assert [days_shown(pictures_of(path))[0] for path in paths] == [0, 10]
