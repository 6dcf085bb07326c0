"""What goes out beside a film is opened by other programs, and looks like the film."""

from datetime import date, timedelta

import numpy as np
import pytest
from PIL import Image

from lapsekit.errors import FilmError
from lapsekit.film.exports import (
    MOST_TEASER,
    TEASER_PER_SECOND,
    TEASER_PX,
    TEASER_S,
    teaser_choice,
    write_beside,
    write_stills,
    write_teaser,
)
from lapsekit.film.tracks import Cue
from tests.film.made_films import WIDTH, chart, number_of, numbered, of_patches
from tests.film.test_tracks import parsed

FIRST = date(2031, 4, 1)
DAYS = [FIRST + timedelta(n) for n in range(5)]


def opened_pictures(path):
    with Image.open(path) as film:
        for number in range(film.n_frames):
            film.seek(number)
            yield np.asarray(film.convert("RGB"))


@pytest.mark.parametrize("kind", ["gif", "webp"])
def test_a_teaser_shows_its_pictures_in_order_without_end(tmp_path, kind):
    path = tmp_path / f"teaser.{kind}"
    assert write_teaser(path, map(numbered, range(0, 300, 10))) == 30
    assert [number_of(picture) for picture in opened_pictures(path)] == list(range(0, 300, 10))
    with Image.open(path) as film:
        assert film.info["loop"] == 0
        film.seek(1)
        film.load()
        assert film.info["duration"] == 1000 / TEASER_PER_SECOND


@pytest.mark.parametrize(("kind", "most"), [("gif", 8), ("webp", 12)])
def test_its_colours_are_the_pictures(tmp_path, kind, most):
    picture, colours = chart()
    path = tmp_path / f"teaser.{kind}"
    write_teaser(path, [picture, picture])
    for seen in opened_pictures(path):
        assert np.abs(of_patches(seen) - colours).max() <= most


@pytest.mark.parametrize("shape", [(600, 1200), (1200, 600)])
def test_a_teaser_is_small_whatever_the_film_is(tmp_path, shape):
    ramp = np.zeros((*shape, 3), np.uint8)
    ramp[..., 1] = np.linspace(0, 255, shape[1])
    path = tmp_path / "teaser.webp"
    write_teaser(path, [ramp])
    (seen,) = opened_pictures(path)
    assert max(seen.shape) == TEASER_PX and min(seen.shape[:2]) == TEASER_PX / 2
    truth = np.linspace(0, 255, seen.shape[1])
    assert np.abs(seen[seen.shape[0] // 2, :, 1] - truth).max() < 8


def test_a_teaser_of_another_kind_or_length_is_refused(tmp_path):
    with pytest.raises(FilmError, match=r"teaser is a \.gif or a \.webp"):
        write_teaser(tmp_path / "teaser.avi", [numbered(1)])
    for count in (0, MOST_TEASER + 1):
        with pytest.raises(FilmError, match=f"1 to {MOST_TEASER} pictures, not {count}"):
            write_teaser(tmp_path / "teaser.gif", [numbered(1)[:16, :16]] * count)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("count", [0, 1, 7, 40, 900, 5000])
def test_a_teaser_spans_the_film_and_shows_nothing_twice(count):
    chosen = teaser_choice(count)
    assert len(chosen) == len(set(chosen)) == min(count, TEASER_S * TEASER_PER_SECOND)
    assert chosen == sorted(chosen)
    if count > 1:
        assert (chosen[0], chosen[-1]) == (0, count - 1)
        assert max(np.diff(chosen)) - min(np.diff(chosen)) <= 1


def test_stills_are_the_pictures_to_the_bit_under_number_and_date(tmp_path):
    paths = write_stills(tmp_path / "stills", DAYS, map(numbered, range(5)))
    assert [path.name for path in paths][:2] == ["00001-2031-04-01.png", "00002-2031-04-02.png"]
    for number, path in enumerate(paths):
        with Image.open(path) as still:
            assert (np.asarray(still) == numbered(number)).all()


def test_stills_of_a_longer_film_go_and_other_files_stay(tmp_path):
    write_stills(tmp_path, DAYS, map(numbered, range(5)))
    (tmp_path / "mine.png").write_bytes(b"x")
    (tmp_path / "2031-04-01.jpg").write_bytes(b"x")
    write_stills(tmp_path, DAYS[:2], map(numbered, range(2)), "jpg")
    names = ["00001-2031-04-01.jpg", "00002-2031-04-02.jpg", "2031-04-01.jpg", "mine.png"]
    assert sorted(path.name for path in tmp_path.iterdir()) == names


def test_stills_of_another_kind_are_refused(tmp_path):
    with pytest.raises(FilmError, match='no kind of still "tiff"; there are png, jpg'):
        write_stills(tmp_path, DAYS, map(numbered, range(5)), "tiff")


def test_poster_and_tracks_stand_beside_the_film_under_its_name(tmp_path):
    picture, colours = chart()
    told = [Cue(0, 1.5, "It begins"), Cue(1.5, 3, "<b>fed</b>")]
    paths = write_beside(tmp_path / "bench.mp4", picture, told, told[:1])
    names = ["bench-poster.jpg", "bench-chapters.vtt", "bench-captions.vtt"]
    assert [path.name for path in paths] == names
    assert parsed(paths[1].read_bytes()) == told and parsed(paths[2].read_bytes()) == told[:1]
    with Image.open(paths[0]) as poster:
        assert np.abs(of_patches(np.asarray(poster)) - colours).max() <= 4
        assert not poster.getexif()


def test_a_track_that_has_nothing_to_tell_goes(tmp_path):
    film = tmp_path / "bench.mp4"
    write_beside(film, numbered(1), [Cue(0, 1, "x")], [Cue(0, 1, "x")])
    (poster,) = write_beside(film, numbered(1))
    assert list(tmp_path.iterdir()) == [poster] and WIDTH > 0
