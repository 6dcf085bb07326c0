"""Segments joined: nothing between them is lost, doubled or late; what is told inside is read."""

import subprocess
from dataclasses import replace

import numpy as np
import pytest

from lapsekit.errors import FilmError
from lapsekit.film.encoding import RECIPES
from lapsekit.film.joining import join
from lapsekit.film.segments import Job, Segment, make_segments
from lapsekit.film.tracks import Cue
from tests.film.made_films import (
    HEIGHT,
    PER_SECOND,
    WIDTH,
    job,
    need,
    number_of,
    numbered,
    probed,
    segments_of,
    shown,
    times,
)

COUNTS = [12, 1, 2, 30, 3, 12, 60, 1]
TOTAL = sum(COUNTS)
HOSTILE = '<b>{\\an8}00:00 --> 00:01</b> \\N "ü" 芽 \u202eturned\u202c'
CHAPTERS = [Cue(0, 0.5, "It begins"), Cue(0.5, 2.25, HOSTILE), Cue(2.25, TOTAL / 24, "é" * 300)]
CAPTIONS = [Cue(0.25, 0.5, HOSTILE), Cue(0.5, 1, "Potted on"), Cue(3, TOTAL / 24, "two\nlines")]


@pytest.fixture(scope="module", params=RECIPES)
def film(request, tmp_path_factory):
    """A film of uneven segments by each recipe, with its segments and the recipe's name."""
    folder = tmp_path_factory.mktemp(request.param)
    segments = segments_of(folder / "parts", COUNTS, request.param)
    target = folder / f"film.{RECIPES[request.param].ending}"
    told = {"title": "Bench 2031", "language": "de", "chapters": CHAPTERS, "captions": CAPTIONS}
    done = join(target, segments, PER_SECOND, **told)
    assert (done.pictures, done.duration_s) == (TOTAL, TOTAL / PER_SECOND)
    return target, segments, request.param


def test_every_picture_is_there_once_and_in_order(film):
    assert [number_of(picture) for picture in shown(film[0])] == list(range(TOTAL))


def test_pictures_are_those_of_the_segments_to_the_bit(film):
    target, segments, _ = film
    apart = np.concatenate([shown(each.path) for each in segments])
    assert (shown(target) == apart).all()


def test_times_run_on_without_a_break(film):
    stamps = times(film[0])
    decoded, seen = np.array(stamps).T
    assert np.allclose(np.sort(seen), np.arange(TOTAL) / PER_SECOND, atol=2e-6)
    assert np.allclose(np.diff(decoded), 1 / PER_SECOND, atol=3e-6)
    assert (seen >= decoded - 1e-6).all()


def test_it_is_as_long_as_its_pictures_with_the_index_in_front(film):
    found = probed(film[0])
    video = found["streams"][0]
    assert float(video["duration"]) == pytest.approx(TOTAL / PER_SECOND, abs=1e-4)
    assert float(found["format"]["duration"]) == pytest.approx(TOTAL / PER_SECOND, abs=1e-3)
    assert float(video["start_time"]) == 0 and video["nb_read_frames"] == f"{TOTAL}"
    assert (video["color_space"], video["color_range"]) == ("bt709", "tv")
    data = film[0].read_bytes()
    assert 0 < data.index(b"moov") < data.index(b"mdat")


def test_title_and_chapters_are_read_back(film):
    found = probed(film[0])
    assert found["format"]["tags"]["title"] == "Bench 2031"
    spans = [(float(c["start_time"]), float(c["end_time"])) for c in found["chapters"]]
    for span, cue in zip(spans, CHAPTERS, strict=True):
        assert span == pytest.approx((cue.start_s, cue.end_s), abs=1.1e-3)
    titles = [chapter["tags"]["title"] for chapter in found["chapters"]]
    assert titles[:2] == ["It begins", HOSTILE]
    assert titles[2] == "é" * 125


def test_captions_are_timed_text_in_their_language(film):
    target, _, recipe = film
    need("ffmpeg")
    (text,) = (s for s in probed(target)["streams"] if s["codec_type"] == "subtitle")
    assert text["codec_name"] == "mov_text"
    assert recipe == "prores" or text["tags"]["language"] == "deu"  # a .mov has other codes
    command = [
        "ffmpeg",
        "-v",
        "error",
        "-i",
        target,
        "-map",
        "0:s",
        "-f",
        "data",
        "-c",
        "copy",
        "-",
    ]
    data = subprocess.run(command, capture_output=True, check=True).stdout
    samples = []
    while data:
        length = int.from_bytes(data[:2], "big")
        samples.append(data[2 : 2 + length].decode())
        data = data[2 + length :]
    assert [each for each in samples if each] == [HOSTILE, "Potted on", "two lines"]


def test_a_player_shows_each_caption_when_it_should(film):
    need("ffprobe")
    command = f"ffprobe -v error -select_streams s -show_packets -of csv=p=0:nk=1 {film[0]}"
    lines = subprocess.run(command.split(), capture_output=True, text=True, check=True).stdout
    seen = [line.split(",") for line in lines.split()]
    spans = [(float(x[3]), float(x[3]) + float(x[7])) for x in seen if int(x[8]) > 2]
    assert np.allclose(spans, [(cue.start_s, cue.end_s) for cue in CAPTIONS], atol=1.1e-3)


@pytest.mark.parametrize("title", ["", "x"])
def test_a_film_without_captions_and_chapters_has_neither(tmp_path, title):
    segments = segments_of(tmp_path / "parts", [2, 2])
    join(tmp_path / "film.mp4", segments, PER_SECOND, title=title)
    found = probed(tmp_path / "film.mp4")
    assert len(found["streams"]) == 1 and found["chapters"] == []
    assert found["format"]["tags"].get("title", "") == title


@pytest.mark.parametrize("name", RECIPES)
def test_cards_noise_night_and_leaves_are_joined_into_one_film(tmp_path, name):
    pictures = {
        "card": np.full((HEIGHT, WIDTH, 3), (250, 246, 236), np.uint8),
        "night": np.zeros((HEIGHT, WIDTH, 3), np.uint8),
        "noise": np.random.default_rng(2).integers(0, 256, (HEIGHT, WIDTH, 3), np.uint8),
        "leaves": numbered(3),
    }
    jobs = [
        Job(f"{what} {count}", count, lambda what=what, count=count: [pictures[what]] * count)
        for what in pictures
        for count in (1, 9)
    ]
    segments = make_segments(tmp_path / "parts", jobs, RECIPES[name], PER_SECOND)
    target = tmp_path / f"film.{RECIPES[name].ending}"
    assert join(target, segments, PER_SECOND).pictures == 40
    seen = shown(target)
    for number, what in enumerate(pictures):
        for picture in seen[10 * number : 10 * number + 10]:
            assert np.abs(picture.mean(axis=(0, 1)) - pictures[what].mean(axis=(0, 1))).max() < 4


def test_a_long_film_keeps_all_of_its_chapters(tmp_path):
    segments = segments_of(tmp_path / "parts", [12] * 30)
    chapters = [Cue(n / 24, (n + 1) / 24, f"Day {n}") for n in range(360)]
    join(tmp_path / "film.mp4", segments, PER_SECOND, chapters=chapters)
    found = probed(tmp_path / "film.mp4")["chapters"]
    assert [each["tags"]["title"] for each in found] == [f"Day {n}" for n in range(360)]


def test_what_is_of_another_kind_is_refused_with_the_reason_and_the_old_film_stays(tmp_path):
    segments = segments_of(tmp_path / "parts", [2, 2])
    target = tmp_path / "film.mp4"
    join(target, segments, PER_SECOND)
    before = target.read_bytes()
    small = segments_of(tmp_path / "other", [2], "av1")
    wide = [
        make_segments(tmp_path / "w", [wide_job()], RECIPES["web"], PER_SECOND)[0],
    ]
    for others, reason in (
        (small, "its codec"),
        (wide, r"its size .*\(96, 64\), not \(192, 128\)"),
    ):
        with pytest.raises(FilmError, match=f"cannot be joined to the film, {reason}"):
            join(target, [*segments, *others], PER_SECOND)
    assert target.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["film.mp4"]


def wide_job():
    whole = job(0, 2)
    return type(whole)("wide", 2, lambda: (p[::2, ::2].copy() for p in whole.pictures()))


def test_other_parameter_sets_are_refused(tmp_path):
    web = RECIPES["web"]
    segments = segments_of(tmp_path / "parts", [2])
    plain = replace(web, options=(*web.options[:2], ("profile", "main"), web.options[3]))
    other = make_segments(tmp_path / "parts", [job(2, 2)], plain, PER_SECOND)
    with pytest.raises(FilmError, match="its parameter sets differ"):
        join(tmp_path / "film.mp4", [*segments, *other], PER_SECOND)


def test_a_segment_that_is_gone_broken_or_of_another_length_is_named(tmp_path):
    segments = segments_of(tmp_path / "parts", [6, 6])
    target = tmp_path / "film.mp4"
    with pytest.raises(FilmError, match="no picture"):
        join(target, [], PER_SECOND)
    longer = Segment(segments[1].path, 7)
    with pytest.raises(FilmError, match="holds 6 pictures instead of 7; delete it"):
        join(target, [segments[0], longer], PER_SECOND)
    segments[1].path.write_bytes(segments[1].path.read_bytes()[:200])
    with pytest.raises(FilmError, match=segments[1].path.name):
        join(target, segments, PER_SECOND)
    segments[1].path.unlink()
    with pytest.raises(FilmError, match=segments[1].path.name):
        join(target, segments, PER_SECOND)
    assert not target.exists()
