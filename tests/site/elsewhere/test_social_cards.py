"""Cards: whole at their size, text inside its box, the picture shown, drawn only when changed."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageDraw

from lapsekit.language.words import ENGLISH
from lapsekit.lettering import drawable, fitted, letters, wrapped
from lapsekit.site.elsewhere.card_shapes import SHAPES
from lapsekit.site.elsewhere.cards import PAPER, CardTold, card_jpg, card_mark, card_told, draw_card
from lapsekit.site.elsewhere.cards_kept import put_cards
from lapsekit.site.writing import SiteFolder
from tests.site.elsewhere.hostile_season import HOSTILE, LONG, SOWN, day, plant, season

GREEN = (40, 160, 60)
PICTURE = Image.new("RGB", (1600, 1200), GREEN)
TOLD = CardTold(
    title="Salad leaves on the school roof",
    label="Plant age in days",
    numeral="76",
    day="Sunday, 24 May 2031",
    growth="+43 %",
    week="canopy in a week",
    who="All 18 plants together",
    between="between +38 and +49 %",
    place="bench.example/2031",
)
ENDLESS = replace(
    TOLD, title=LONG[:300], numeral="123456", growth="+123456 %", who=LONG[:300], place=LONG[:300]
)
NAMES = list(SHAPES)


def inked(card, shape):
    """Where the card is neither paper nor picture, rules that run from edge to edge left out."""
    pixels = np.asarray(card).astype(int)
    left, top, right, bottom = shape.picture
    pixels[max(0, top - 4) : bottom + 12, max(0, left - 4) : right] = PAPER
    if left:  # the rule beside the picture runs from top to bottom
        pixels[:, left - 4 : left] = PAPER
    rows, columns = np.nonzero(np.abs(pixels - PAPER).max(axis=2) > 60)
    return columns.min(), rows.min(), columns.max(), rows.max()


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("told", [TOLD, ENDLESS], ids=["usual", "endless"])
def test_nothing_that_is_to_be_read_leaves_its_box(name, told):
    shape = SHAPES[name]
    left, top, right, bottom = inked(draw_card(name, told, PICTURE), shape)
    assert left >= shape.text[0] - 10
    assert top >= shape.text[1] - 24
    assert right <= shape.text[2] + 2
    assert bottom <= shape.text[3] + 4


@pytest.mark.parametrize("name", NAMES)
def test_a_card_has_its_size_and_shows_the_picture(name):
    card = Image.open(io.BytesIO(card_jpg(name, TOLD, PICTURE)))
    assert card.size == SHAPES[name].size
    left, top, right, bottom = SHAPES[name].picture
    middle = np.asarray(card)[top + 5 : bottom - 5, left + 5 : right - 5]
    assert np.abs(middle.astype(int) - GREEN).max() < 12


@pytest.mark.parametrize("name", NAMES)
def test_a_card_carries_no_metadata_and_is_the_same_each_time(name):
    first = card_jpg(name, TOLD, PICTURE)
    assert first == card_jpg(name, TOLD, PICTURE)
    card = Image.open(io.BytesIO(first))
    assert not card.getexif()
    assert set(card.info) <= {
        "jfif",
        "jfif_version",
        "jfif_unit",
        "jfif_density",
        "progressive",
    } | {"progression"}


def test_a_picture_of_another_form_is_shown_whole_on_paper():
    tall = Image.new("RGB", (600, 1200), GREEN)
    shown = np.asarray(draw_card("square", TOLD, tall))
    left, top, right, bottom = SHAPES["square"].picture
    inside = shown[top : bottom - 4, left:right]
    green = (np.abs(inside.astype(int) - GREEN).max(axis=2) < 12).sum()
    height = bottom - top
    assert green == pytest.approx(height * height / 2, rel=0.02)


@pytest.mark.parametrize("age", [0, 7, 1234, -5])
def test_the_plant_age_is_the_number_on_the_card(age):
    told = replace(season(1), days=(replace(day(), age_days=age),))
    found = card_told(told, ENGLISH)
    assert found.numeral == str(abs(age))
    assert found.label == ("Days before sowing" if age < 0 else "Plant age in days")


def test_a_card_says_whose_growth_it_tells_and_how_sure():
    plants = [plant("a", "A", 150.0, 100.0), plant("b", "B", None), plant("c", "C", 100.0, 100.0)]
    found = card_told(replace(season(1), days=(day(plants=plants),)), ENGLISH)
    assert found.growth == "+25 %"
    assert found.who == "2 of 3 plants together, without B"
    assert found.between == "between +9 and +44 %"
    assert found.place == "bench.example/2031"


def test_without_values_a_card_says_no_growth():
    found = card_told(replace(season(1), days=(day(plants=[plant(value=None)]),)), ENGLISH)
    assert (found.growth, found.week, found.who, found.between) == ("", "", "", "")
    assert card_told(season(0, sown=SOWN), ENGLISH) is None


def test_letters_that_the_type_has_not_are_left_out_and_a_text_of_them_is_not_drawn():
    assert drawable("Herbs 🌿 on the roof") == "Herbs on the roof"
    assert drawable("漢字" * 5) == ""
    assert "\u202e" not in drawable(HOSTILE)
    assert drawable("Kräuter – 2031") == "Kräuter – 2031"


def test_letters_of_both_files_of_the_type_are_drawn_in_one_line():
    usual, rare = letters(40).length("ab"), letters(40).length("é#")
    assert letters(40).length("aé#b") == pytest.approx(usual + rare, abs=3)
    sheet = Image.new("L", (200, 60))
    letters(40).write(ImageDraw.Draw(sheet), (0, 45), "é#", 255)
    left, _, right, _ = sheet.getbbox()
    assert right - left > 0.8 * rare


@pytest.mark.parametrize("text", ["a b c", LONG[:200], "Salad " * 40, "", "x"])
def test_lines_are_never_wider_than_their_room_and_lose_nothing(text):
    lines = wrapped(text, letters(30), 200)
    assert all(letters(30).length(line) <= 200 for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_what_has_no_room_ends_in_an_ellipsis():
    lines, size = fitted(LONG[:300], range(40, 30, -2), 300, 2)
    assert (len(lines), size) == (2, 32)
    assert lines[-1].endswith("…")
    assert letters(32).length(lines[-1]) <= 300


def test_cards_are_drawn_again_only_when_they_would_look_otherwise(tmp_path):
    (tmp_path / "pictures").mkdir(parents=True)
    PICTURE.save(tmp_path / "pictures/a-1.jpg")
    PICTURE.save(tmp_path / "pictures/a-2.jpg")
    cache = tmp_path / ".cache"

    def put(told, picture):
        folder = SiteFolder(tmp_path)
        return put_cards(folder, cache, told, picture), folder.written

    cards = [f"cards/{name}.jpg" for name in NAMES]
    assert put(TOLD, "pictures/a-1.jpg") == (NAMES, cards)
    assert put(TOLD, "pictures/a-1.jpg") == ([], [])
    assert put(replace(TOLD, numeral="77"), "pictures/a-1.jpg") == (NAMES, cards)
    assert put(replace(TOLD, numeral="77"), "pictures/a-2.jpg")[0] == NAMES
    assert len(list(cache.glob("*.jpg"))) == 3
    (tmp_path / "cards/link.jpg").unlink()
    assert put(replace(TOLD, numeral="77"), "pictures/a-2.jpg") == ([], ["cards/link.jpg"])


def test_a_mark_changes_with_each_thing_that_a_card_shows():
    marks = {card_mark("link", TOLD, "a"), card_mark("link", TOLD, "b")}
    marks |= {card_mark("square", TOLD, "a"), card_mark("link", replace(TOLD, who="x"), "a")}
    assert len(marks) == 4
