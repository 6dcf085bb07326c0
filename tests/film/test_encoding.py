"""Each kind of film file is what it says it is, and shows the colours that went in."""

import os
from pathlib import Path

import av
import numpy as np
import pytest

from lapsekit.errors import FilmError
from lapsekit.film.encoding import RECIPES, encode, recipe_named
from tests.film.made_films import (
    HEIGHT,
    PER_SECOND,
    WIDTH,
    chart,
    number_of,
    numbered,
    of_patches,
    probed,
    shown,
)

KINDS = {
    "web": {"codec_name": "h264", "profile": "High", "pix_fmt": "yuv420p", "tag": "avc1"},
    "preview": {"codec_name": "h264", "profile": "High", "pix_fmt": "yuv420p", "tag": "avc1"},
    "hevc": {"codec_name": "hevc", "profile": "Main", "pix_fmt": "yuv420p", "tag": "hvc1"},
    "h264-10": {
        "codec_name": "h264",
        "profile": "High 4:2:2",
        "pix_fmt": "yuv422p10le",
        "tag": "avc1",
    },
    "av1": {"codec_name": "av1", "profile": "Main", "pix_fmt": "yuv420p", "tag": "av01"},
    "prores": {"codec_name": "prores", "profile": "HQ", "pix_fmt": "yuv422p10le", "tag": "apch"},
}
COLOURS = {
    "color_range": "tv",
    "color_space": "bt709",
    "color_primaries": "bt709",
    "color_transfer": "bt709",
}


@pytest.fixture(scope="module")
def films(tmp_path_factory):
    """A film of thirty pictures by each recipe."""
    folder = tmp_path_factory.mktemp("films")
    paths = {name: folder / f"{name}.{RECIPES[name].ending}" for name in RECIPES}
    for name, path in paths.items():
        assert encode(path, map(numbered, range(30)), RECIPES[name], PER_SECOND) == 30
    return paths


def test_every_recipe_is_looked_at():
    assert set(KINDS) == set(RECIPES)


@pytest.mark.parametrize("name", KINDS)
def test_ffprobe_finds_the_codec_the_format_and_all_four_colour_tags(films, name):
    (video,) = probed(films[name])["streams"]
    wanted = KINDS[name] | COLOURS
    assert video["codec_tag_string"] == wanted.pop("tag")
    assert {key: video.get(key) for key in wanted} == wanted
    assert (video["width"], video["height"]) == (WIDTH, HEIGHT)
    assert video["nb_read_frames"] == "30" and video["r_frame_rate"] == f"{PER_SECOND}/1"
    assert float(video["duration"]) == pytest.approx(30 / PER_SECOND, abs=1e-4)


@pytest.mark.parametrize("name", KINDS)
def test_pictures_come_back_in_order(films, name):
    assert [number_of(picture) for picture in shown(films[name])] == list(range(30))


@pytest.mark.parametrize("name", KINDS)
def test_the_index_stands_before_the_pictures(films, name):
    data = films[name].read_bytes()
    assert 0 < data.index(b"moov") < data.index(b"mdat")


@pytest.mark.parametrize(
    ("name", "most"),
    [("web", 3), ("preview", 3), ("av1", 3), ("hevc", 3), ("prores", 2), ("h264-10", 2)],
)
def test_colours_come_back_as_they_went_in(tmp_path, name, most):
    picture, colours = chart()
    path = tmp_path / f"chart.{RECIPES[name].ending}"
    encode(path, [picture] * 4, RECIPES[name], PER_SECOND)
    for seen in shown(path, 256, 256):
        assert np.abs(of_patches(seen) - colours).max() <= most


def test_the_chart_would_tell_of_another_matrix(tmp_path):
    picture, colours = chart()
    path = tmp_path / "chart.mp4"
    encode(path, [picture], RECIPES["web"], PER_SECOND)
    (seen,) = shown(path, 256, 256, ":in_color_matrix=bt601")
    assert np.abs(of_patches(seen) - colours).max() > 20


def test_a_film_can_be_sought_to_every_two_seconds(tmp_path):
    path = tmp_path / "long.mp4"
    encode(path, map(numbered, range(120)), RECIPES["web"], PER_SECOND)
    with av.open(str(path)) as film:
        keys = [float(p.pts * p.time_base) for p in film.demux(video=0) if p.is_keyframe]
    assert max(np.diff([*keys, 120 / PER_SECOND])) <= 2


def test_sizes_that_no_player_shows_are_refused_and_nothing_is_left(tmp_path):
    odd = np.zeros((65, 64, 3), np.uint8)
    with pytest.raises(FilmError, match="64 x 65 px cannot be made; both must be even"):
        encode(tmp_path / "odd.mp4", [odd], RECIPES["web"], PER_SECOND)
    two = [np.zeros((64, 64, 3), np.uint8), np.zeros((64, 32, 3), np.uint8)]
    with pytest.raises(FilmError, match="picture 2 of a film is 32 x 64 px, the first 64 x 64"):
        encode(tmp_path / "two.mp4", two, RECIPES["web"], PER_SECOND)
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_kind_names_those_that_there_are():
    assert recipe_named("web") is RECIPES["web"]
    with pytest.raises(FilmError, match='"tape"; there are web, preview, av1'):
        recipe_named("tape")


def test_a_name_with_a_colon_is_a_name(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    encode(Path("bench:2031.mp4"), [numbered(5)], RECIPES["web"], PER_SECOND)
    assert [path.name for path in tmp_path.iterdir()] == ["bench:2031.mp4"]


def test_on_a_full_disk_the_old_film_stays(small_disk):
    disk = small_disk("100k")
    target = disk / "film.mp4"
    encode(target, [numbered(1)], RECIPES["web"], PER_SECOND)
    before = target.read_bytes()
    noise = np.random.default_rng(3).integers(0, 256, (20, 256, 256, 3), np.uint8)
    with pytest.raises(FilmError, match=r"film\.mp4: the film was not written .*room"):
        encode(target, noise, RECIPES["web"], PER_SECOND)
    assert target.read_bytes() == before and len(list(disk.iterdir())) == 1


@pytest.mark.parametrize("name", KINDS)
def test_no_encoder_takes_precedence_over_the_rest_of_the_machine(tmp_path, name):
    def classes():
        return {os.sched_getscheduler(int(t.name)) for t in Path("/proc/self/task").iterdir()}

    def pictures():
        for number in range(4):
            yield numbered(number)
            assert classes() == {os.SCHED_OTHER}

    encode(tmp_path / f"film.{RECIPES[name].ending}", pictures(), RECIPES[name], PER_SECOND)
    assert classes() == {os.SCHED_OTHER}
