"""Hardware encoders are believed when they have encoded something, and only then."""

from dataclasses import replace
from pathlib import Path

import pytest

from lapsekit.errors import FilmError
from lapsekit.film.encoding import RECIPES, encode
from lapsekit.film.hardware import ENCODERS, hardware_recipe
from tests.film.made_films import HEIGHT, WIDTH, number_of, numbered, shown


def test_an_encoder_that_encodes_is_used(tmp_path):
    recipe = hardware_recipe(WIDTH, HEIGHT, 24, encoders=("libx264",))
    assert (recipe.name, recipe.codec) == ("web", "libx264") and recipe.bits_per_pixel
    encode(tmp_path / "film.mp4", map(numbered, range(6)), recipe, 24)
    assert [number_of(picture) for picture in shown(tmp_path / "film.mp4")] == list(range(6))


def test_the_first_that_answers_is_taken():
    assert hardware_recipe(64, 64, 24, encoders=("h264_nowhere", "mpeg4")).codec == "mpeg4"


def test_a_machine_without_one_is_told_so_and_what_to_do():
    if any(Path("/dev").glob("video1[0-9]")):
        pytest.skip("this machine may have one")
    with pytest.raises(FilmError, match=r"encodes no film of 64 x 64 px .*film without") as said:
        hardware_recipe(64, 64, 24)
    assert all(codec in str(said.value) for codec in ENCODERS)


def test_an_encoder_that_cannot_fill_the_file_is_not_used():
    with pytest.raises(FilmError, match=r"\(gif: .*does not support"):
        hardware_recipe(64, 64, 24, encoders=("gif",))


def test_a_kind_of_film_whose_encoder_is_not_there_says_so(tmp_path):
    nowhere = replace(RECIPES["av1"], codec="libnowhere")
    with pytest.raises(FilmError, match=r"no encoder libnowhere for \.mp4 files .*another kind"):
        encode(tmp_path / "film.mp4", [numbered(1)], nowhere, 24)
    assert list(tmp_path.iterdir()) == []
