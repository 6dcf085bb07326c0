"""A film that browsers play, of the right pictures, whole or not there at all."""

import json
import shutil
import subprocess
from datetime import date

import av
import numpy as np
import pytest

from lapsekit.errors import FilmError
from lapsekit.film.assembling import fit, make_film
from lapsekit.film.captions import caption_text, with_caption
from lapsekit.film.encoding import RECIPES, encode
from lapsekit.measuring import measure
from lapsekit.season import Season
from tests.scenes import SETTINGS, make_season


def decoded(path):
    with av.open(str(path)) as film:
        return [frame.to_ndarray(format="rgb24") for frame in film.decode(video=0)]


@pytest.fixture
def measured(filled):
    measure(filled)
    return filled


def test_the_film_shows_one_picture_a_day_in_a_form_browsers_play(measured):
    report = make_film(measured)
    assert (report.frames, report.made) == (5, True)
    with av.open(str(report.path)) as film:
        stream = film.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert (stream.width, stream.height) == (320, 240)
        assert float(stream.average_rate) == 12
    assert len(decoded(report.path)) == 5


def test_the_index_stands_before_the_pictures(measured):
    data = make_film(measured).path.read_bytes()
    assert 0 < data.index(b"moov") < data.index(b"mdat")


def test_ffprobe_reads_it_without_complaint(measured):
    if shutil.which("ffprobe") is None:
        pytest.skip("no ffprobe on this machine; tests/run installs it")
    path = make_film(measured).path
    done = subprocess.run(
        ["ffprobe", "-v", "error", "-count_frames", "-show_streams", "-of", "json", str(path)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    assert json.loads(done.stdout)["streams"][0]["nb_read_frames"] == "5"


def test_the_pictures_are_the_daily_ones_in_order(measured):
    measured.catalogue.close()
    plain = make_season(measured.folder, SETTINGS + "\n[film]\ncaption = false\n")
    film = decoded(make_film(plain).path)
    from lapsekit.vision.pictures import decode

    daily = plain.daily_pictures()["bench"]
    for shown, day in zip(film, sorted(daily), strict=True):
        truth = decode(plain.archive.read(daily[day].path))
        assert np.abs(shown.astype(int) - truth).mean() < 8


def test_all_usable_frames_on_request(measured):
    measured.catalogue.close()
    every = make_season(measured.folder, SETTINGS + '\n[film]\nframes = "all"\n')
    assert make_film(every).frames == 15


def test_the_same_film_is_not_made_twice_and_a_new_day_is(measured):
    first = make_film(measured)
    written = first.path.stat().st_mtime_ns
    assert not make_film(measured).made
    assert first.path.stat().st_mtime_ns == written
    gone = next(f for f in measured.catalogue.frames() if f.day == date(2031, 4, 5))
    for frame in measured.catalogue.frames(day=gone.day):
        (measured.folder / frame.path).unlink()
    measure(measured)
    assert make_film(measured).frames == 4


def test_a_failure_in_the_middle_leaves_the_old_film(tmp_path):
    target = tmp_path / "season.mp4"
    picture = np.full((64, 64, 3), 90, np.uint8)
    encode(target, [picture] * 3, RECIPES["web"], 12)
    before = target.read_bytes()

    def breaking():
        yield picture
        raise FilmError("the disk went away")

    with pytest.raises(FilmError):
        encode(target, breaking(), RECIPES["web"], 12)
    assert target.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["season.mp4"]


def test_no_pictures_make_no_film(tmp_path, season):
    with pytest.raises(FilmError, match="no picture"):
        encode(tmp_path / "x.mp4", [], RECIPES["web"], 12)
    assert list(tmp_path.glob("*.mp4")) == []
    with pytest.raises(FilmError, match="no usable frame"):
        make_film(season)
    with pytest.raises(FilmError, match='no camera "roof"'):
        make_film(season, "roof")


def test_a_caption_names_day_and_age_and_leaves_the_rest_alone():
    assert caption_text(date(2031, 5, 3), 34) == ("3 May 2031", "day 34")
    assert caption_text(date(2031, 5, 3), 34, "12:05") == ("3 May 2031", "day 34, 12:05")
    assert caption_text(date(2031, 5, 3), -2) == ("3 May 2031", "before sowing")
    picture = np.full((480, 640, 3), 90, np.uint8)
    shown = with_caption(picture, ("3 May 2031", "day 34"))
    assert (shown != picture).any()
    assert (shown[:400] == picture[:400]).all()
    assert (shown[:, 400:] == picture[:, 400:]).all()


def test_a_picture_of_another_shape_keeps_its_own():
    square = np.full((100, 100, 3), 10, np.uint8)
    shown = fit(square, (320, 240))
    assert shown.shape == (240, 320, 3)
    assert (shown[:, 45:275] == 10).all()
    assert (shown[:, :35] > 200).all()


def test_season_folder_is_reopened(measured):
    """The mark of a made film survives the process that made it."""
    make_film(measured)
    again = Season(measured.folder)
    assert not make_film(again).made
    again.catalogue.close()
