"""Cuts by name: what one says, what [film] says for all, what is refused."""

import re
import tomllib

import pytest
from pydantic import ValidationError

from lapsekit.resources import shared_folder
from lapsekit.settings import Cut, FilmTable


def table(text):
    return FilmTable.model_validate(tomllib.loads(text))


def test_the_cuts_of_the_annotated_example_are_valid_and_of_every_kind():
    text = (shared_folder("config") / "season.toml").read_text()
    body = text.split("\n# Cuts of your own")[1].split("\n[site]")[0]
    cuts = "\n".join(re.findall(r"(?m)^# (\[.*|\w[\w-]* = .*)$", body))
    film = FilmTable.model_validate(tomllib.loads(cuts)["film"])
    kinds = {film.resolved(cut).kind for cut in film.cuts.values()}
    assert kinds == {"season", "recent", "region", "day", "then-and-now"}


def test_what_a_cut_does_not_say_the_table_says_for_all():
    film = table('shape = "square"\nsteady = false\n[cuts.b]\nkind = "recent"\nshape = "wide"\n')
    found = film.resolved(film.known["b"])
    assert (found.shape, found.steady) == ("wide", False)
    assert film.resolved(film.known["season"]).shape == "square"


def test_the_commands_word_stands_above_both():
    film = table('shape = "square"\n[cuts.b]\nshape = "wide"\n')
    assert film.resolved(film.known["b"], shape="upright").shape == "upright"


def test_a_length_for_the_whole_replaces_the_length_of_a_day_and_the_other_way_round():
    film = table("length_seconds = 60\n[cuts.b]\nday_seconds = 1\n")
    season, own = film.resolved(film.known["season"]), film.resolved(film.known["b"])
    assert (season.day_seconds, season.length_seconds) == (None, 60)
    assert (own.day_seconds, own.length_seconds) == (1, None)
    assert film.resolved(film.known["b"], length_seconds=9.0).day_seconds is None


def test_cuts_of_few_days_keep_their_pace_whatever_holds_for_the_season():
    film = table('day_seconds = 0.1\nframes = "alike"\n')
    assert film.resolved(film.known["day"]).day_seconds == 15
    assert film.resolved(film.known["recent"]).frames == "all"
    assert film.resolved(film.known["season"]).frames == "alike"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("day_seconds = 1\nlength_seconds = 2", "not both"),
        ('[cuts.b]\nkind = "region"', "one region"),
        ('[cuts.b]\nkind = "together"\nregions = ["x"]', "two to six regions"),
        ('[cuts.b]\nkind = "day"\ndays = 3', 'days says nothing to a cut of kind "day"'),
        ('weekly = ["b"]', 'no cut "b"'),
        ("short_side_px = 4000", "short_side_px"),
    ],
)
def test_what_cannot_be_is_refused_in_words(text, said):
    with pytest.raises(ValidationError, match=re.escape(said)):
        table(text)


def test_what_the_command_says_is_checked_like_the_files():
    with pytest.raises(ValidationError, match="shape"):
        FilmTable().resolved(Cut(), shape="round")
