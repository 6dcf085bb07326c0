"""verdicts.csv is read with its notes, and refused with file, line and value."""

import pytest

from lapsekit.errors import SettingsError
from lapsekit.verdicts import Ruling, by_path, read_verdicts, with_verdicts

PATHS = [
    "frames/bench/2031-04-01/20310401T090000Z.jpg",
    "frames/roof/2031-04-01/20310401T090000Z.jpg",
    "frames/bench/2031-04-02/20310402T090000Z.jpg",
]


@pytest.fixture
def file(tmp_path):
    return tmp_path / "verdicts.csv"


def test_yes_no_and_notes_are_read_whatever_their_case_and_spacing(file):
    file.write_text('frame,verdict,note\na.jpg, Yes,"dim, but fine"\n\nb.jpg,NO\n', "utf-8-sig")
    assert read_verdicts(file) == [
        Ruling("a.jpg", True, "dim, but fine", 2),
        Ruling("b.jpg", False, "", 4),
    ]


@pytest.mark.parametrize("text", [None, "", "frame,verdict,note\n"])
def test_no_file_and_an_empty_one_say_nothing(file, text):
    if text is not None:
        file.write_text(text)
    assert read_verdicts(file) == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("frame,verdict\na.jpg,maybe\n", ["line 2", 'verdict = "maybe"', "a.jpg", "yes"]),
        ("frame,verdict\na.jpg,yes\n,no\n", ["line 3", "frame is missing"]),
        ("picture;verdict\na.jpg;no\n", ["line 1", "picture;verdict", "frame,verdict,note"]),
    ],
)
def test_what_cannot_be_used_is_refused_with_file_line_and_value(file, text, words):
    file.write_text(text)
    with pytest.raises(SettingsError) as caught:
        read_verdicts(file)
    assert all(word in str(caught.value) for word in [str(file), *words])


def test_a_file_name_is_enough_where_only_one_frame_has_it(file):
    found, notes = by_path(file, [Ruling("20310402T090000Z.jpg", True, "", 2)], PATHS)
    assert list(found) == PATHS[2:]
    assert notes == []


def test_a_file_name_that_two_cameras_have_is_refused(file):
    with pytest.raises(SettingsError, match=r"line 2: frame = .* may be any of .*bench.*roof"):
        by_path(file, [Ruling("20310401T090000Z.jpg", True, "", 2)], PATHS)


def test_lines_that_contradict_each_other_are_refused_by_any_name(file):
    lines = [Ruling(PATHS[2], True, "", 2), Ruling("20310402T090000Z.jpg", False, "", 3)]
    with pytest.raises(SettingsError, match=r"line 3: .* another verdict in line 2"):
        by_path(file, lines, PATHS)


def test_a_frame_that_is_not_there_is_told_and_passed_over(file):
    found, notes = by_path(file, [Ruling("gone.jpg", False, "", 5)], PATHS)
    assert found == {}
    assert notes == [f"{file}: line 5: no frame gone.jpg in this season"]


def test_comments_and_empty_lines_are_passed_over(file):
    file.write_text("# hands, hats\n\nframe,verdict\n  # the cat\na.jpg,no\n")
    assert read_verdicts(file) == [Ruling("a.jpg", False, "", 5)]


def test_a_new_verdict_leaves_comments_order_and_other_lines_as_they_are():
    text = '# mine\nverdict,frame,weather\n\nno,a.jpg,"wet, cold"\n# cat\nyes,b.jpg,dry\n'
    assert with_verdicts(text, ["frames/x/a.jpg", "frames/x/c.jpg"], use=True) == (
        '# mine\nverdict,frame,weather\n\nyes,a.jpg,"wet, cold"\n# cat\nyes,b.jpg,dry\n'
        "yes,frames/x/c.jpg,\n"
    )


@pytest.mark.parametrize("text", ["", "# nothing yet\n"])
def test_a_file_that_says_nothing_gets_its_first_line(text, file):
    file.write_text(with_verdicts(text, ["frames/x/a.jpg"], use=False, note='a "hat", mine'))
    (ruling,) = read_verdicts(file)
    assert (ruling.frame, ruling.use, ruling.note) == ("frames/x/a.jpg", False, 'a "hat", mine')
    assert file.read_text().startswith(text + "frame,verdict,note\n")


def test_a_verdict_that_changes_without_a_note_leaves_the_old_ones_note(file):
    text = 'frame,verdict,note,who\na.jpg,no,"a hand, in it",Ann\n'
    assert with_verdicts(text, ["a.jpg"], use=False) == text
    assert with_verdicts(text, ["a.jpg"], use=True) == ("frame,verdict,note,who\na.jpg,yes,,Ann\n")


def test_a_note_gets_a_column_where_there_was_none(file):
    file.write_text(with_verdicts("frame,verdict\na.jpg,no\n", ["b.jpg"], use=True, note="dusk"))
    assert [r.note for r in read_verdicts(file)] == ["", "dusk"]


def test_a_verdict_written_twice_is_one_line():
    once = with_verdicts("", ["a.jpg"], use=True)
    assert with_verdicts(once, ["a.jpg"], use=True) == once
