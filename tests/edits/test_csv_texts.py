"""Lines of the season's CSV texts are changed alone; comments, endings and quoting stay."""

from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from lapsekit.edits.strokes_text import with_strokes, without_strokes
from lapsekit.edits.verdicts_text import without_verdicts
from lapsekit.errors import ChangedMeanwhile
from lapsekit.rows import rows
from lapsekit.verdicts import parse_verdicts, with_verdicts
from lapsekit.vision.strokes import Stroke, read_strokes

FILE = Path("verdicts.csv")
FRAMES = [f"frames/bench/2031-05-0{n}/2031050{n}T100000Z.jpg" for n in range(1, 6)]
NOISE = st.sampled_from(["", '# mine, "hers', "  # c", "   "])
ENDINGS = st.sampled_from(["\n", "\r\n"])


def said(text):
    return {r.frame.rpartition("/")[2]: (r.use, r.note) for r in parse_verdicts(text, FILE)}


@st.composite
def verdicts(draw):
    """A verdicts.csv by hand, and which of its lines each frame has."""
    newline = draw(ENDINGS)
    lines = [(None, "frame, verdict,note,who")]
    for frame in draw(st.lists(st.sampled_from(FRAMES), unique=True)):
        lines += [(None, line) for line in draw(st.lists(NOISE, max_size=2))]
        name = draw(st.sampled_from([frame, frame.rpartition("/")[2], f'"{frame}"']))
        note = draw(st.sampled_from(["", "a hand", '"a, b"', f'"two{newline}lines"', ' "spaced"']))
        lines.append((frame, f"{name},{draw(st.sampled_from(['yes', ' NO ']))},{note},me"))
    return newline.join(line for _, line in lines) + draw(st.sampled_from([newline, ""])), lines


@given(verdicts(), st.sampled_from(FRAMES), st.booleans(), st.sampled_from([None, "why", ""]))
@examples(max_examples=80, deadline=None)
def test_a_verdict_is_set_and_taken_back_and_every_other_line_stays(file, frame, use, note):
    text, lines = file
    before, name = said(text), frame.rpartition("/")[2]
    changed = with_verdicts(text, [frame], use, note)
    was, its_note = before.get(name, (None, ""))
    kept = (its_note if was is use else "") if note is None else note
    assert said(changed) == {**before, name: (use, kept)}
    others = "\n".join(line for each, line in lines if each != frame).splitlines()
    found = changed.splitlines()
    assert not Counter(others) - Counter(found)
    back = without_verdicts(changed, [frame])
    assert said(back) == {k: v for k, v in before.items() if k != name}
    assert back.count("\r\n") == back.count("\n") or "\r\n" not in text


def test_a_changed_verdict_loses_its_note_and_stays_in_its_line_with_the_growers_own_column():
    text = f"frame,verdict,note,who\r\n{FRAMES[0]},yes,dim,me\r\n# c\r\n"
    assert with_verdicts(text, [FRAMES[0]], False) == text.replace("yes,dim", "no,")
    assert with_verdicts(text, [FRAMES[0]], True) == text


STROKES = st.builds(
    Stroke,
    st.sampled_from(FRAMES),
    st.booleans(),
    st.integers(1, 40).map(float),
    st.lists(st.tuples(*[st.integers(0, 999).map(float)] * 2), min_size=1, max_size=4).map(tuple),
)


@given(st.lists(STROKES, max_size=6), st.lists(STROKES, max_size=4), ENDINGS)
@examples(max_examples=60, deadline=None)
def test_strokes_come_and_go_between_a_hands_comments(there, new, newline):
    text = with_strokes("", there).replace("\n", newline)
    text = text.replace(newline, f"{newline}# here{newline}{newline}", 1)
    added = with_strokes(text, new)
    assert read_strokes(added) == (*there, *new) and added.startswith(text)
    assert without_strokes(added, new) == text
    rest = read_strokes(without_strokes(added, there))
    assert Counter(rest) == Counter(new)
    assert "# here" in without_strokes(added, [*there, *new])


def test_a_stroke_that_is_gone_is_told():
    stroke = Stroke(FRAMES[0], True, 6, ((1, 2),))
    text = with_strokes("", [stroke])
    with pytest.raises(ChangedMeanwhile, match="no such stroke"):
        without_strokes(text, [stroke, stroke])


def test_rows_know_their_lines_and_a_comment_with_a_quotation_mark_opens_nothing():
    text = 'a,b\n# c, "d\n\n"two\nlines",x\r\ny,z'
    found = rows(text)
    assert [(row.line, row.cells) for row in found] == [
        (1, ["a", "b"]), (4, ["two\nlines", "x"]), (6, ["y", "z"]),
    ]  # fmt: skip
    assert "".join(text[row.start : row.end] for row in found) == 'a,b\n"two\nlines",x\r\ny,z'
