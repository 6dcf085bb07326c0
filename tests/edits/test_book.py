"""A season's texts are changed together, the later of two editors is told, all can be undone."""

import stat
import tomllib
from datetime import UTC, date, datetime, timedelta
from functools import partial

import pytest

from lapsekit.corrections import Correction, read_corrections, with_correction
from lapsekit.diary import Event, read_diary
from lapsekit.edits import regions_text
from lapsekit.edits.book import NAMES, Book
from lapsekit.edits.diary_text import with_changed_event, with_events, without_event
from lapsekit.edits.settings_text import with_value, without
from lapsekit.edits.strokes_text import with_strokes
from lapsekit.errors import ChangedMeanwhile, SettingsError
from lapsekit.founding import found_season
from lapsekit.season import Season
from lapsekit.vision.strokes import Stroke

CAMERA_TWO = {"kind": "files"}


class Ticking:
    """A clock that goes a second further each time it is looked at."""

    def __init__(self):
        self.now = datetime(2031, 5, 4, 8, 0, tzinfo=UTC)

    def __call__(self):
        self.now += timedelta(seconds=1)
        return self.now


@pytest.fixture
def folder(tmp_path):
    return found_season(tmp_path / "bench", "A bench", "UTC", date(2031, 3, 1))


@pytest.fixture
def book(folder):
    return Book(folder, Ticking())


def set_in(path, value):
    return lambda text: with_value(text, path, value)


def add(day, what, region=""):
    return lambda text: with_events(text, [Event(date(2031, 5, day), region, what, "")])


def all_bytes(folder):
    files = [folder / name for name in NAMES]
    return {file.name: file.read_bytes() for file in files if file.exists()}


def events(folder):
    return [event.what for event in read_diary(folder / "diary.csv")[0]]


def test_only_the_texts_of_the_season_can_be_asked_for(book):
    for name in ("../season.toml", "catalogue.sqlite", "/etc/passwd", "weather.csv", ".lock"):
        with pytest.raises(KeyError):
            book.text(name)


def test_a_text_that_is_a_link_is_neither_read_nor_written(book, folder, tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("date,region,event,note\n")
    (folder / "diary.csv").unlink()
    (folder / "diary.csv").symlink_to(secret)
    for act in (
        lambda: book.text("diary.csv"),
        lambda: book.change("", {"diary.csv": add(1, "fed")}),
    ):
        with pytest.raises(SettingsError, match="is a link"):
            act()
    assert secret.read_text() == "date,region,event,note\n"


def test_undoing_every_change_gives_the_very_bytes_back_and_undoing_that_puts_them_in(book, folder):
    crlf = (folder / "season.toml").read_bytes().replace(b"\n", b"\r\n")
    (folder / "season.toml").write_bytes(b"\xef\xbb\xbf" + crlf)
    (folder / "diary.csv").write_bytes(b"date,region,event,note\r\n# mine\r\n2031-03-01,,sown,")
    Season(folder)  # a byte order mark is no obstacle
    stages = [all_bytes(folder)]
    for what, edits in (
        ("scale", {"season.toml": set_in(("cameras", "bench", "px_per_cm"), 12.5)}),
        ("note", {"diary.csv": add(2, "fed")}),
        ("colours", {"colours.csv": lambda t: with_strokes(t, [Stroke("a", True, 6, ((1, 2),))])}),
        (
            "camera and region",
            {
                "regions.toml": lambda t: regions_text.add_region(
                    t, "mint", "two", date(2031, 4, 1), [(0, 0), (9, 0), (9, 9)]
                ),
                "season.toml": set_in(("cameras", "two"), CAMERA_TWO),
            },
        ),
    ):
        book.change(what, edits)
        stages.append(all_bytes(folder))
        Season(folder)
    assert all(b"\n" not in t["season.toml"].replace(b"\r\n", b"") for t in stages)
    for before in reversed(stages[:-1]):
        book.undo()
        assert all_bytes(folder) == before
    with pytest.raises(SettingsError, match="nothing to undo"):
        book.undo()
    undoings = [change for change in book.changes() if change.undoes]
    assert [c.what for c in undoings] == [
        "Undone: scale", "Undone: note", "Undone: colours", "Undone: camera and region",
    ]  # fmt: skip
    for undoing, after in zip(undoings, stages[1:], strict=True):
        assert book.undo(undoing.id).what.startswith("Done again: ")
        assert all_bytes(folder) == after
    assert not any(c.is_undone for c in book.changes() if not c.undoes)


def test_a_change_keeps_the_permissions_of_a_file(book, folder):
    (folder / "season.toml").chmod(0o640)
    book.change("x", {"season.toml": set_in(("season", "base_c"), 5.5)})
    assert stat.S_IMODE((folder / "season.toml").stat().st_mode) == 0o640
    kept = folder / ".desk" / "undo"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o700
    assert {stat.S_IMODE(file.stat().st_mode) for file in kept.iterdir()} == {0o600}


def test_a_hand_edit_between_reading_and_writing_is_told_with_its_lines(book, folder):
    seen = book.text("season.toml")
    hand = seen.content.replace('title = "My bench"', 'title = "By hand"').replace(
        'title = "A bench"', 'title = "By hand"'
    )
    (folder / "season.toml").write_text(hand)
    before = all_bytes(folder)
    edit = {"season.toml": set_in(("season", "title"), "By the desk")}
    with pytest.raises(ChangedMeanwhile) as told:
        book.change("title", edit, {"season.toml": seen.version})
    assert '- title = "A bench"' in str(told.value) and '+ title = "By hand"' in str(told.value)
    assert all_bytes(folder) == before and book.changes() == []
    again = book.text("season.toml")
    book.change("title", edit, {"season.toml": again.version})
    assert Season(folder).settings.season.title == "By the desk"


def test_a_file_that_came_or_went_meanwhile_is_told(book, folder):
    seen = book.text("colours.csv")
    assert (seen.content, seen.version) == ("", "")
    (folder / "colours.csv").write_text("frame,kind,width_px,points\n")
    edit = {"diary.csv": add(1, "fed")}
    with pytest.raises(ChangedMeanwhile, match=r"colours\.csv"):
        book.change("x", edit, {"colours.csv": ""})
    seen = book.text("colours.csv")
    (folder / "colours.csv").unlink()
    with pytest.raises(ChangedMeanwhile, match=r"colours\.csv"):
        book.change("x", edit, {"colours.csv": seen.version})
    assert events(folder) == []


@pytest.mark.parametrize(
    ("edits", "said"),
    [
        ({"season.toml": set_in(("capture", "every_minutes"), 0)}, "capture.every_minutes = 0"),
        ({"season.toml": lambda t: ""}, "season is missing"),
        ({"season.toml": lambda t: t + "[x"}, "not valid TOML"),
        ({"regions.toml": lambda t: t.replace('"bench" ', '"other" ')}, "not a camera"),
        ({"season.toml": lambda t: t.replace("[cameras.bench]", "[cameras.b]")}, "not a camera"),
        ({"diary.csv": lambda t: t + "yesterday,,fed,\n"}, "line 2 is passed over"),
        ({"verdicts.csv": lambda t: "frame,verdict\na.jpg,perhaps\n"}, "write yes"),
        ({"colours.csv": lambda t: "frame,kind\n"}, "no column width_px"),
        ({"corrections.csv": lambda t: "noticed,wrong\nsoon,all\n"}, "line 2 is passed over"),
    ],
)
def test_what_the_season_could_not_be_used_with_is_refused_and_nothing_is_written(
    book, folder, edits, said
):
    before = all_bytes(folder)
    with pytest.raises(SettingsError, match=said.replace("[", r"\[")):
        book.change("wrong", {"diary.csv": add(1, "fed"), **edits})
    assert all_bytes(folder) == before and book.changes() == []


def test_a_line_that_was_wrong_before_does_not_hinder_a_note(book, folder):
    (folder / "diary.csv").write_text("date,region,event,note\nyesterday,,fed,\n")
    book.change("note", {"diary.csv": add(1, "fed")})
    assert events(folder) == ["fed"]


def test_strokes_and_a_canopy_index_do_not_go_together_whichever_comes_first(book):
    strokes = {"colours.csv": lambda t: with_strokes(t, [Stroke("a", True, 6, ((1, 2),))])}
    index = {"season.toml": set_in(("canopy", "method"), "gli")}
    for first, second in ((strokes, index), (index, strokes)):
        book.change("first", first)
        with pytest.raises(SettingsError, match=r"canopy\.method"):
            book.change("second", second)
        book.undo()


def test_a_season_that_cannot_be_opened_can_be_mended(book, folder):
    sound = (folder / "season.toml").read_text()
    (folder / "season.toml").write_text(sound + "[nonsense]\n")
    book.change("note", {"diary.csv": add(1, "fed")})
    book.change("mended", {"season.toml": lambda t: without(t, ("nonsense",))})
    Season(folder)
    assert (folder / "season.toml").read_text() == sound


def test_undoing_one_note_leaves_those_before_and_after(book, folder):
    for day, what in enumerate(("sown", "emerged", "fed", "watered"), start=1):
        book.change(what, {"diary.csv": add(day, what)})
    ids = {change.what: change.id for change in book.changes()}
    book.undo(ids["emerged"])
    assert events(folder) == ["sown", "fed", "watered"]
    with pytest.raises(SettingsError, match="undone already"):
        book.undo(ids["emerged"])
    with (folder / "diary.csv").open("a") as file:
        file.write("2031-05-09,,by hand,\n")
    book.undo(ids["watered"])
    assert events(folder) == ["sown", "fed", "by hand"]
    book.undo()
    assert events(folder) == ["sown", "by hand"]


def test_undoing_a_region_leaves_one_that_was_added_later(book, folder):
    points = [(0, 0), (9, 0), (9, 9)]
    for name in ("mint", "dill"):
        adding = partial(
            regions_text.add_region,
            name=name, camera="bench", from_day=date(2031, 4, 1), points=points,
        )  # fmt: skip
        book.change(name, {"regions.toml": lambda text, adding=adding: adding(text)})
    book.undo(book.changes()[1].id)
    assert list(Season(folder).regions.by_name) == ["bench", "dill"]


def test_undoing_what_was_changed_again_is_told_and_writes_nothing(book, folder):
    book.change("five", {"season.toml": set_in(("season", "base_c"), 5.5)})
    first = book.changes()[0].id
    book.change("six", {"season.toml": set_in(("season", "base_c"), 6.5)})
    before = all_bytes(folder)
    with pytest.raises(ChangedMeanwhile, match=r"(?s)season\.toml.*\+ base_c = 6\.5"):
        book.undo(first)
    assert all_bytes(folder) == before and len(book.changes()) == 2


def test_undoing_what_the_season_needs_by_now_is_refused(book, folder):
    book.change("camera", {"season.toml": set_in(("cameras", "two"), CAMERA_TWO)})
    hand = (folder / "regions.toml").read_text()
    hand += '[[region]]\nname = "x"\ncamera = "two"\n[[region.outline]]\nfrom = 2031-03-01\n'
    (folder / "regions.toml").write_text(hand)
    with pytest.raises(SettingsError, match="not a camera"):
        book.undo()
    assert set(Season(folder).settings.cameras) == {"bench", "two"}


def test_old_changes_are_forgotten_and_the_last_two_hundred_are_kept(book, folder):
    for number in range(205):
        book.change(str(number), {"diary.csv": add(1, f"note {number}")})
    told = book.changes(limit=1000)
    assert [change.what for change in told] == [str(n) for n in range(204, 4, -1)]
    with pytest.raises(SettingsError, match="not kept any more"):
        book.undo("000001")


def test_a_change_that_changes_nothing_is_none(book):
    change = book.change("same", {"season.toml": lambda text: text})
    assert (change.id, change.files) == ("", ()) and book.changes() == []


def test_a_renamed_camera_is_refused_since_the_season_would_not_open_in_between(book):
    edits = {
        "season.toml": lambda t: t.replace("[cameras.bench]", "[cameras.top]"),
        "regions.toml": lambda t: t.replace('camera = "bench"', 'camera = "top"'),
    }
    with pytest.raises(SettingsError, match="make it two changes"):
        book.change("rename", edits)


def test_an_event_is_changed_where_it_stands_and_the_growers_own_column_stays(book, folder):
    (folder / "diary.csv").write_bytes(
        b"who,date,region,event,note\r\nme, 2031-05-01 ,,fed,\r\n# c\r\nyou,2031-05-02,,fed,\r\n"
    )
    was = read_diary(folder / "diary.csv")[0][1]
    now = Event(was.day, "bench", "watered", "a lot, twice")
    book.change("e", {"diary.csv": lambda t: with_changed_event("# above\r\n" + t, was, now)})
    assert (folder / "diary.csv").read_bytes() == (
        b"# above\r\nwho,date,region,event,note\r\nme, 2031-05-01 ,,fed,\r\n# c\r\n"
        b'you,2031-05-02,bench,watered,"a lot, twice"\r\n'
    )
    with pytest.raises(ChangedMeanwhile, match="not in line 4"):
        book.change("e", {"diary.csv": lambda t: without_event(t, was)})


def test_corrections_are_read_newest_first_with_their_days(book, folder):
    for day, wrong in ((4, "the scale was off by a tenth"), (9, "two pots were swapped")):
        told = Correction(date(2031, 5, day), "bench", date(2031, 4, 1), None, wrong, "all again")
        book.change("errata", {"corrections.csv": lambda t, told=told: with_correction(t, told)})
    found, problems = read_corrections(folder / "corrections.csv")
    assert [c.noticed.day for c in found] == [9, 4] and problems == []
    assert found[1] == Correction(
        date(2031, 5, 4), "bench", date(2031, 4, 1), None,
        "the scale was off by a tenth", "all again",
    )  # fmt: skip


def test_the_journal_is_not_copied(book, folder):
    from lapsekit.copying.belongings import own_texts

    book.change("note", {"diary.csv": add(1, "fed")})
    names = own_texts(folder, Season(folder).settings)
    assert "diary.csv" in names and not any(".desk" in n or ".writing" in n for n in names)


def test_settings_are_changed_to_just_what_was_wanted(book, folder):
    before = tomllib.loads((folder / "season.toml").read_text())
    book.change("c", {"season.toml": set_in(("capture", "every_minutes"), 20)})
    after = tomllib.loads((folder / "season.toml").read_text())
    assert after == {**before, "capture": {"every_minutes": 20}}
