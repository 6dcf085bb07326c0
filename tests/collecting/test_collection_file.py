"""A collection's file names seasons; what it cannot mean is refused in plain words."""

import re
from pathlib import Path

import pytest

from lapsekit.collecting.crops import crop_of
from lapsekit.collecting.members import in_turn, open_collection
from lapsekit.errors import SettingsError
from lapsekit.resources import shared_folder
from tests.collecting.benches import collection
from tests.scenes import make_season


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "season is missing"),
        ("season = []", "season = []: at least one"),
        ('[[season]]\nfoldr = "a"', 'season 1, foldr is not a setting; did you mean "folder"?'),
        ('[[season]]\nfolder = "a"\nyear = 3', "season 1, year is not a setting"),
        ('[[season]]\nfolder = "a"\n[[season]]\nfolder = 3', "season 2, folder = 3"),
        ('[[season]]\nfolder = "**/a"', 'season 1, folder = "**/a": ** would walk through every'),
        ('[[season]]\nfolder = "a*"\ntitle = "A"', "season 1: a pattern stands for many seasons"),
        ('[[season]]\nfolder = "a"\n[[season]]\nfolder = "a/"', 'folder = "a" stands here twice'),
        ('language = "german"\n[[season]]\nfolder = "a"', 'language = "german"'),
        ('[[season]]\nfolder = "a"\n[crops]\nbasil = "b*"', 'crops.basil = "b*"'),
        ("[[season]", "not valid TOML"),
    ],
)
def test_a_wrong_value_is_refused_with_file_key_and_value(tmp_path, text, said):
    file = collection(tmp_path, text)
    with pytest.raises(SettingsError) as caught:
        open_collection(file)
    assert str(file) in str(caught.value) and said in str(caught.value)


def test_patterns_stand_for_season_folders_and_a_folder_counts_once(tmp_path):
    for name in ("north-2030", "north-2031", "south-2031"):
        make_season(tmp_path / "benches" / name)
    (tmp_path / "benches" / "north-notes").mkdir()
    file = collection(
        tmp_path,
        '[[season]]\nfolder = "benches/north-2031"\ntitle = "Ours"\n'
        '[[season]]\nfolder = "benches/north-*"\nbench = "North"\n'
        f'[[season]]\nfolder = "{tmp_path}/benches/*"\n',
    )
    found = open_collection(file)
    assert found.absent == []
    assert [(m.key, m.own_title, m.bench) for m in found.members] == [
        ("benches/north-2031", "Ours", "north-2031"),
        ("benches/north-2030", None, "North"),
        ("benches/south-2031", None, "south-2031"),
    ]


def test_a_line_that_names_no_season_is_told_with_the_nearest_and_the_others_are_there(tmp_path):
    make_season(tmp_path / "north-2031")
    file = collection(
        tmp_path,
        '[[season]]\nfolder = "nort-2031"\n[[season]]\nfolder = "east-*"\n'
        '[[season]]\nfolder = "north-2031"\n',
    )
    found = open_collection(file)
    assert [member.key for member in found.members] == ["north-2031"]
    misspelt, nowhere = found.absent
    assert 'did you mean "north-2031"?' in misspelt.why
    assert "no folder of such a name holds a season.toml" in nowhere.why


def test_brackets_in_the_name_of_the_files_own_folder_are_no_pattern(tmp_path):
    home = tmp_path / "school [old]"
    make_season(home / "a-1")
    found = open_collection(collection(home, '[[season]]\nfolder = "a-*"\n'))
    assert [member.key for member in found.members] == ["a-1"]


def test_one_catalogue_is_open_at_a_time_however_many_seasons_there_are(tmp_path):
    for number in range(12):
        make_season(tmp_path / f"s{number:02}").catalogue.close()
    found = open_collection(collection(tmp_path, '[[season]]\nfolder = "s*"\n'))

    def open_catalogues(season, member):
        assert season.catalogue.cameras() == []
        links = [each.readlink() for each in Path("/proc/self/fd").iterdir() if each.is_symlink()]
        ours = (link for link in links if link.is_relative_to(tmp_path))
        return {link for link in ours if link.name == "catalogue.sqlite"}

    seen = [done.result for done in in_turn(found, open_catalogues)]
    assert [len(each) for each in seen] == [1] * 12
    assert len(set.union(*seen)) == 12


def test_a_crop_is_named_by_the_file_or_by_a_name_without_its_numbers():
    crops = {"basil": ["basil*", "thai-*"], "cress": ["kresse"]}
    names = ["basil-2", "thai-4", "kresse", "chives", "chives-12", "oats3", "oats-2030-1", "7"]
    assert [crop_of(name, crops) for name in names] == [
        *("basil", "basil", "cress", "chives", "chives", "oats", "oats", "7")
    ]


def test_the_example_that_travels_with_the_package_is_a_collection(tmp_path):
    for name in ("south-2031", "north-2030", "north-2031"):
        make_season(tmp_path / name)
    text = (shared_folder("config") / "collection.toml").read_text(encoding="utf-8")
    (tmp_path / "collection.toml").write_text(
        re.sub(r"^# (\[crops|basil =|lang)", r"\1", text, flags=re.M)
    )
    found = open_collection(tmp_path / "collection.toml")
    assert [(m.key, m.bench) for m in found.members] == [
        *(("south-2031", "South"), ("north-2030", "North"), ("north-2031", "North"))
    ]
    assert found.crops == {"basil": ("basil*", "thai-*")} and found.absent == []
