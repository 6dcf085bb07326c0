"""Regions and outlines of regions.toml come, change and go; what a hand wrote around them stays."""

import tomllib
from datetime import date
from pathlib import Path

import pytest

from lapsekit.edits import regions_text as regions
from lapsekit.errors import SettingsError
from lapsekit.resources import shared_folder
from lapsekit.settings import parse_regions, parse_settings

FOLDER = shared_folder("config")
SETTINGS = parse_settings((FOLDER / "season.toml").read_text(encoding="utf-8"), Path("season.toml"))
EXAMPLE = (FOLDER / "regions.toml").read_text(encoding="utf-8")
APRIL, MAY = date(2031, 4, 1), date(2031, 5, 1)
POT = [(1.0, 2.0), (30.0, 2.25), (30, 40)]
BY_HAND = """\
# my regions

  # the one by the door
  [[ region ]]   # first
  name   = 'mint'
  camera = "bench"
  outline = [ { from = 2031-03-01, points = [[0, 0], [9, 0], [9, 9]] } ]   # never moved

# the dill
[[region]]
name = "dill" # no label
camera = "bench"
# it was crowded
[[region.outline]]
from = "2031-03-01"
points = [
  [0, 0], # near the tap
  [9, 0], [9, 9],
]
# a word at the end
"""


def read(text):
    return parse_regions(text, Path("regions.toml"), SETTINGS).by_name


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("text", [EXAMPLE, BY_HAND, ""], ids=["example", "by hand", "none yet"])
def test_a_region_comes_and_goes_without_a_trace(text, newline):
    text = text.replace("\n", newline)
    added = regions.add_region(text, "sage", "bench", APRIL, POT, label='My "sage"', group=None)
    sage = read(added)["sage"]
    assert (sage.label, sage.group, sage.outline[0].valid_from) == ('My "sage"', None, APRIL)
    assert sage.outline[0].points == ((1, 2), (30, 2.25), (30, 40))
    assert {**read(text), "sage": sage} == read(added)
    assert regions.remove_region(added, "sage") == text
    with pytest.raises(SettingsError, match="already"):
        regions.add_region(added, "sage", "bench", APRIL, None)


@pytest.mark.parametrize("name", ["mint", "dill"])
def test_an_outline_comes_changes_and_goes_however_a_hand_wrote_the_others(name):
    more = regions.set_outline(BY_HAND, name, MAY, POT)
    assert [o.valid_from for o in read(more)[name].outline] == [date(2031, 3, 1), MAY]
    less = regions.set_outline(more, name, MAY, [(5, 5), (6, 5), (6, 9)])
    assert read(less)[name].outline[1].points == ((5, 5), (6, 5), (6, 9))
    whole = regions.set_outline(less, name, MAY, None)
    assert read(whole)[name].outline[1].points is None
    back = regions.remove_outline(whole, name, MAY)
    assert read(back) == read(BY_HAND)
    comments = [[line.partition("#")[2] for line in t.splitlines()] for t in (BY_HAND, back)]
    assert comments[0] == comments[1]
    with pytest.raises(SettingsError, match="only this outline"):
        regions.remove_outline(back, name, date(2031, 3, 1))
    with pytest.raises(SettingsError, match="no outline from"):
        regions.remove_outline(back, name, MAY)


def test_removing_a_region_takes_its_own_comments_and_leaves_the_others():
    less = regions.remove_region(BY_HAND, "mint")
    assert less == "# my regions\n\n" + BY_HAND[BY_HAND.index("# the dill") :]
    less = regions.remove_region(BY_HAND, "dill")
    assert less.startswith(BY_HAND[: BY_HAND.index("\n# the dill")]) and "tap" not in less
    assert list(tomllib.loads(less)["region"][0]) == ["name", "camera", "outline"]


def test_a_region_is_renamed_ended_and_alive_again():
    text = regions.set_key(EXAMPLE, "bench", "name", "tray")
    assert 'name = "tray"' in text and "# lower-case letters" in text
    ended = regions.end_region(text, "tray", MAY, "harvested")
    assert (read(ended)["tray"].until, read(ended)["tray"].ended) == (MAY, "harvested")
    assert "# until = 2031-08-20" in ended.split("\nuntil")[0]
    assert regions.end_region(ended, "tray", None) == text
    with pytest.raises(SettingsError, match="no region"):
        regions.set_key(text, "bench", "label", "x")
