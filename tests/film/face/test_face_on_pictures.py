"""What stands on film pictures: in the safe area, of known days only, the same each time."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations

import numpy as np
import pytest

from lapsekit.film.face.cards import gap_card, title_card
from lapsekit.film.face.corners import CORNERS
from lapsekit.film.face.face import PARTS, Face
from lapsekit.film.face.paper import Slip, lay
from lapsekit.film.face.room import SMALLEST, Room, meet, within
from lapsekit.film.face.thread_slip import month_ticks
from lapsekit.film.face.told import Beat, Curve, Event, Named, Panel, Thread, Told
from lapsekit.language.words import ENGLISH, Words
from lapsekit.lettering import ACCENT, FAINT, INK, PAPER

FIRST = date(2031, 3, 12)
SHAPES = {"wide": (1280, 720), "square": (720, 720), "upright": (720, 1280), "picture": (960, 720)}
PER_DAY = 6
HOSTILE = [
    "x" * 10_000,
    "word " * 2_000,
    "\u202e\u2067 turned \u202c round",
    "\U0001f331\U0001f331 sprouts \U0001f331",
    "今日は芽が出た",
    "שלום עולם",
    "line\nbreak\ttab\0null",
    "<b>{bold}</b> & %s",
    "",
]


def told(days=40, known_until=None, label="Basil", text="potted on", words=ENGLISH, title=None):
    """A season whose canopy grows like a power, with an event every fifth day."""
    beats = []
    names = (
        Named(label, ((300, 250), (500, 250), (500, 420), (300, 420))),
        Named(label, ((310, 260), (490, 260), (490, 410), (310, 410))),
        Named("Chard", ((520, 300), (660, 300), (660, 430), (520, 430))),
    )
    for number in range(days * PER_DAY):
        at = 0.5 + number / PER_DAY
        day = FIRST + timedelta(days=int(at))
        beats.append(Beat(at, day, int(at) - 3, "12:30", names, ("day 3", "day 4")))
    last = days if known_until is None else known_until
    events = tuple(
        Event(float(day), text, label, FIRST + timedelta(days=day)) for day in range(2, last, 5)
    )
    points = tuple((day + 0.5, 0.2 * day**2) for day in range(last) if day not in (9, 10, 11))
    thread = Thread(0, 60, month_ticks(words, FIRST, 0, 60))
    return Told(words, 24.0, tuple(beats), events, (Curve(title or label, points),), thread=thread)


def grey(size):
    return np.full((size[1], size[0], 3), 128, np.uint8)


def changed_box(picture):
    """Left, top, right and bottom of what is not grey; shadows are passed over."""
    strong = np.abs(picture.astype(int) - 128).max(axis=2) > 64
    rows, columns = np.flatnonzero(strong.any(axis=1)), np.flatnonzero(strong.any(axis=0))
    return columns[0], rows[0], columns[-1] + 1, rows[-1] + 1


def corner_of(box, size):
    upper, left = box[1] + box[3] < size[1], box[0] + box[2] < size[0]
    return f"{'upper' if upper else 'lower'}-{'left' if left else 'right'}"


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("bare", CORNERS)
@pytest.mark.parametrize("parts", [PARTS, {"date", "diary"}], ids=["all", "date and diary"])
def test_the_day_s_sheet_stands_where_no_plant_is_and_no_slip_lies_on_another(shape, bare, parts):
    """Plants in three corners; the fourth is taken, all through the film, unless another is said.

    Names alone may lie under a line of the diary: they fade there.
    """
    size = SHAPES[shape]
    width, height = size
    right, lower = bare.endswith("right"), bare.startswith("lower")
    across = (0, width // 2) if right else (width // 2, width)
    down = (0, height // 2) if lower else (height // 2, height)
    plants = tuple(
        ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
        for x0, x1, y0, y1 in ((*across, 0, height), (0, width, *down))
    )
    face = Face(size, shape, parts, replace(told(), plants=(plants,)))
    for index in (0, 75, 200):
        boxes = {stamp.key[0]: stamp.box for stamp in face.stamps(index) if stamp.key[0] != "name"}
        assert corner_of(boxes["date"], size) == bare or "curve" in boxes
        assert all(within(box, Room(size, shape).safe) for box in boxes.values())
        for one, other in combinations(boxes, 2):
            assert not meet(boxes[one], boxes[other]), (one, other)
    said = Face(size, shape, {"date"}, replace(told(), plants=(plants,), date_at="lower-left"))
    assert corner_of(next(iter(said.stamps(0))).box, size) == "lower-left"


def test_without_plants_the_day_s_sheet_stands_at_the_lower_left():
    face = Face(SHAPES["wide"], "wide", {"date"}, told())
    assert corner_of(next(iter(face.stamps(0))).box, SHAPES["wide"]) == "lower-left"


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("text", ["potted on", *HOSTILE])
def test_whatever_is_told_all_slips_lie_in_the_safe_area_and_nothing_changes_around_them(
    shape, text
):
    size = SHAPES[shape]
    face = Face(size, shape, PARTS, told(text=text, label=text))
    safe = Room(size, shape).safe
    for index in (0, 75, 200):
        picture, boxes = face.draw(grey(size), index), []
        boxes = [stamp.box for stamp in face.stamps(index)]
        assert boxes
        assert all(within(box, safe) for box in boxes)
        assert within(changed_box(picture), safe)
        rim = 10
        free = np.ones(picture.shape[:2], bool)
        for left, top, right, bottom in boxes:
            free[max(0, top - rim) : bottom + rim, max(0, left - rim) : right + rim] = False
        assert (picture[free] == 128).all()


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("language", ["en", "de"])
def test_no_slip_lies_over_another(shape, language):
    face = Face(SHAPES[shape], shape, PARTS, told(words=Words(language)))
    seen = set()
    for index in range(0, 240, 3):
        stamps = [stamp for stamp in face.stamps(index) if stamp.opacity == 1]
        seen |= {stamp.key[0] for stamp in stamps}
        boxes = [stamp.box for stamp in stamps]
        assert not any(meet(a, b) for i, a in enumerate(boxes) for b in boxes[:i])
    assert seen == {"date", "curve", "diary", "name", "thread"}


def test_a_film_that_grows_keeps_every_picture_that_it_has():
    """Days, values and events that come later change nothing before them."""
    short, long = told(days=20), told(days=40)
    now, later = (Face(SHAPES["wide"], "wide", PARTS, each) for each in (short, long))
    for index in range(len(short.beats)):
        # The last half day waits for values of the day that is not there yet.
        assert now.mark(index) == later.mark(index) or short.beats[index].at_days >= 20
    index = 19 * PER_DAY
    size = SHAPES["wide"]
    assert np.array_equal(now.draw(grey(size), index), later.draw(grey(size), index))


def test_values_and_events_of_later_days_are_not_shown_before():
    size, index = SHAPES["wide"], 15 * PER_DAY
    full, cut = told(), told(known_until=16)
    assert full.beats[index].at_days < 16
    drawn = [Face(size, "wide", PARTS, each).draw(grey(size), index) for each in (full, cut)]
    assert np.array_equal(*drawn)
    after = 25 * PER_DAY
    drawn = [Face(size, "wide", PARTS, each).draw(grey(size), after) for each in (full, cut)]
    assert not np.array_equal(*drawn)


def test_the_same_picture_comes_out_in_whatever_order_pictures_are_drawn():
    size = SHAPES["square"]
    one, other = (Face(size, "square", PARTS, told()) for _ in range(2))
    forth = {index: one.draw(grey(size), index) for index in range(0, 120, 7)}
    back = {index: other.draw(grey(size), index) for index in reversed(range(0, 120, 7))}
    assert all(np.array_equal(forth[index], back[index]) for index in forth)


def test_equal_marks_mean_equal_pictures_and_other_words_give_other_marks():
    size = SHAPES["wide"]
    face = Face(size, "wide", {"date"}, told())
    still, _ = face.draw(grey(size), 13), face.draw(grey(size), 14)
    assert face.mark(13) == face.mark(14)
    assert np.array_equal(still, face.draw(grey(size), 14))
    other = Face(size, "wide", {"date"}, told(words=Words("de")))
    assert face.mark(13) != other.mark(13)


def test_only_what_is_asked_for_is_shown_and_nothing_at_all_leaves_the_picture():
    size = SHAPES["wide"]
    for part, key in (
        ("date", "date"),
        ("curve", "curve"),
        ("thread", "thread"),
        ("names", "name"),
    ):
        assert {stamp.key[0] for stamp in Face(size, "wide", {part}, told()).stamps(50)} == {key}
    assert (Face(size, "wide", set(), told()).draw(grey(size), 50) == 128).all()


def luminance(ink):
    line = [v / 255 / 12.92 if v <= 10 else ((v / 255 + 0.055) / 1.055) ** 2.4 for v in ink]
    return 0.2126 * line[0] + 0.7152 * line[1] + 0.0722 * line[2]


@pytest.mark.parametrize("ink", [INK, FAINT, ACCENT])
def test_every_ink_of_letters_stands_out_from_paper(ink):
    assert (luminance(PAPER) + 0.05) / (luminance(ink) + 0.05) >= 4.5


def test_the_smallest_letters_are_large_enough_for_a_phone():
    assert Room((1080, 1920), "upright").px(SMALLEST) >= 0.026 * 1080


@pytest.mark.parametrize("shape", SHAPES)
def test_an_upright_film_keeps_free_what_other_programs_cover(shape):
    width, height = SHAPES[shape]
    left, top, right, bottom = Room((width, height), shape).safe
    above, below, beside = (0.12, 0.2, 0.06) if shape == "upright" else (0.05, 0.05, 0.05)
    assert top >= above * height - 1 and bottom <= (1 - below) * height + 1
    assert left >= beside * width - 1 and right <= (1 - beside) * width + 1


def test_titles_of_panels_stay_in_their_panels_and_give_way_to_the_curve():
    size = SHAPES["wide"]
    boxes = ((0, 0, 640, 720), (640, 0, 1280, 720))
    panels = (Panel("Basil " * 30, boxes[0]), Panel("Chard", boxes[1]))
    face = Face(size, "wide", {"curve", "date"}, replace(told(), panels=panels))
    found = [stamp.box for stamp in face.stamps(60) if stamp.key[0] == "panel"]
    curve = next(stamp.box for stamp in face.stamps(60) if stamp.key[0] == "curve")
    assert len(found) == 2
    assert all(within(box, panel) for box, panel in zip(found, boxes, strict=True))
    assert not any(meet(box, curve) for box in found)


def test_side_by_side_pictures_of_several_days_say_the_age_in_place_of_the_date():
    beats = tuple(Beat(float(age), None, age) for age in range(30))
    face = Face(SHAPES["wide"], "wide", {"date"}, replace(told(), beats=beats))
    (stamp,) = face.stamps(12)
    assert stamp.key == ("date", ("12", "days old", ""))


def test_names_have_their_own_place_and_none_where_there_is_no_room():
    size = SHAPES["wide"]
    face = Face(size, "wide", {"names"}, told())
    boxes = [stamp.box for stamp in face.stamps(0)]
    assert len(boxes) == 3 and not any(meet(a, b) for i, a in enumerate(boxes) for b in boxes[:i])
    narrow = (Named("A very long name of a plant", ((300, 300), (330, 300), (330, 330))),)
    beats = (Beat(0.5, FIRST, 3, "", narrow),)
    assert not list(Face(size, "wide", {"names"}, replace(told(), beats=beats)).stamps(0))


def test_a_slip_covers_what_lies_under_its_paper_and_half_of_it_when_it_comes():
    sprite = Slip((40, 20), 7.2).sprite()
    picture = grey((100, 60))
    lay(picture, sprite, (30, 20))
    assert (picture[25, 50] == PAPER).all()
    faint = grey((100, 60))
    lay(faint, sprite, (30, 20), 0.5)
    assert np.abs(faint[25, 50].astype(int) - (np.array(PAPER) + 128) / 2).max() <= 1
    cut = grey((100, 60))
    lay(cut, sprite, (90, 55))
    assert (cut[59, 99] == PAPER).all()


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("reason", ["the camera had no power", *HOSTILE])
def test_cards_keep_their_text_in_the_safe_area(shape, reason):
    size = SHAPES[shape]
    gap = gap_card(size, shape, ENGLISH, date(2031, 9, 28), date(2031, 11, 2), reason)
    for card in (gap, title_card(size, shape, reason or "A", (reason,) * 9)):
        assert card.shape == (size[1], size[0], 3)
        rows, columns = np.nonzero((card != PAPER).any(axis=2))
        box = columns.min(), rows.min(), columns.max() + 1, rows.max() + 1
        assert within(box, Room(size, shape).safe)
