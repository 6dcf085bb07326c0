"""The site's fonts: what a page has to load of them, and what they still can."""

import re

import pytest

from tests import subset_fonts
from tests.subset_fonts import FIRST, SITE, WHOLE, characters_of, opened

TABLES = ("CFF ", "GPOS", "GSUB", "cmap", "hmtx", "name")
STYLE = (SITE.parent / "style.css").read_text(encoding="utf-8")
FACES = {
    name: set().union(
        *(
            range(int(low, 16), int(high or low, 16) + 1)
            for low, high in re.findall(r"U\+([0-9A-F]+)(?:-([0-9A-F]+))?", told)
        )
    )
    for name, told in re.findall(r"fonts/([\w-]+)\.woff2.*?unicode-range:(.*?);", STYLE, re.DOTALL)
}
ENGLISH = "Sown on Monday 9 March 2026, “day 34”: 212 cm² (+9 %) – 3½ °C".replace("½", "")
GERMAN = "Gesät am Montag, 9. März 2026: „Blätter größer als vor einer Woche“ … Ä Ö Ü"


def features(font):
    return {record.FeatureTag for record in font["GSUB"].table.FeatureList.FeatureRecord}


def test_the_style_says_of_each_file_exactly_the_characters_that_it_has():
    assert set(FACES) == {file.stem for file in SITE.glob("*.woff2")}
    for name, characters in FACES.items():
        assert characters == characters_of(SITE / f"{name}.woff2"), name


@pytest.mark.parametrize("style", ["regular", "italic"])
def test_both_files_together_have_every_character_of_the_whole_font_once(style):
    first, more = FACES[f"almanac-{style}"], FACES[f"almanac-{style}-more"]
    assert first | more == characters_of(WHOLE / f"whole-{style}.woff2")
    assert not first & more


def test_english_and_german_need_the_first_files_alone_and_these_are_small():
    assert set(map(ord, ENGLISH + GERMAN)) <= FACES["almanac-regular"]
    assert set(map(ord, FIRST)) == FACES["almanac-regular"]
    assert (SITE / "almanac-regular.woff2").stat().st_size < 18_600
    assert (SITE / "almanac-italic.woff2").stat().st_size < 15_600


def test_numerals_of_all_kinds_and_small_capitals_are_kept():
    regular = opened(SITE / "almanac-regular.woff2")
    assert {"onum", "lnum", "tnum", "smcp", "c2sc", "liga"} <= features(regular)
    assert {"onum", "lnum", "tnum", "liga"} <= features(opened(SITE / "almanac-italic.woff2"))
    assert "kern" in {r.FeatureTag for r in regular["GPOS"].table.FeatureList.FeatureRecord}


def test_the_fonts_are_called_almanac_and_keep_their_copyright_and_licence():
    for file in SITE.glob("*.woff2"):
        told = {record.nameID: record.toUnicode() for record in opened(file)["name"].names}
        assert told[1] == "Almanac" and told[6].startswith("Almanac-")
        assert told[0] and "Copyright" in told[13] and told[14].startswith("http")
    assert "SIL OPEN FONT LICENSE" in (SITE / "OFL.txt").read_text(encoding="utf-8")


def test_the_files_are_what_the_script_makes_of_the_whole_fonts(tmp_path, monkeypatch):
    monkeypatch.setattr(subset_fonts, "SITE", tmp_path)
    subset_fonts.main()
    made = {file.name for file in tmp_path.iterdir()}
    assert made == {file.name for file in SITE.glob("*.woff2")}
    for name in made:
        ours, new = opened(SITE / name), opened(tmp_path / name)
        assert ours.keys() == new.keys()
        assert all(ours.getTableData(t) == new.getTableData(t) for t in TABLES)
