"""copied.csv claims no more than was written whole, and tells when the last copy was."""

from datetime import UTC, datetime, timedelta

from lapsekit.copied import (
    COPIED_FILE,
    Copied,
    last_verified,
    note_copied,
    read_copied,
    rewrite_copied,
)

NOON = datetime(2031, 4, 17, 12, 0, tzinfo=UTC)


def rows(*names, sha="a", at=NOON):
    return [Copied(name, sha * 64, at) for name in names]


def test_what_is_noted_is_read_and_the_last_line_of_a_file_counts(tmp_path):
    first = rows("frames/bench/2031-04-17/1.jpg", 'followers/shown/a, "b".jpg')
    note_copied(tmp_path, first)
    later = rows(first[0].path, sha="b", at=NOON + timedelta(days=1))
    note_copied(tmp_path, later)
    assert read_copied(tmp_path) == {first[0].path: later[0], first[1].path: first[1]}
    assert last_verified(tmp_path) == NOON + timedelta(days=1)
    assert (tmp_path / COPIED_FILE).read_text().startswith("path,sha256,verified_at\n")
    rewrite_copied(tmp_path, later)
    assert read_copied(tmp_path) == {first[0].path: later[0]}


def test_nothing_copied_is_nothing_claimed(tmp_path):
    assert read_copied(tmp_path) == {}
    assert last_verified(tmp_path) is None


def test_a_line_cut_off_anywhere_claims_nothing_and_spoils_no_other(tmp_path):
    file = tmp_path / COPIED_FILE
    note_copied(tmp_path, rows("frames/bench/2031-04-17/1.jpg"))
    before = file.read_bytes()
    note_copied(tmp_path, rows('followers/shown/"2".jpg'))
    whole = file.read_bytes()
    for end in range(len(before), len(whole) - 1):
        file.write_bytes(whole[:end])
        assert [*read_copied(tmp_path)] == ["frames/bench/2031-04-17/1.jpg"], whole[:end]
        note_copied(tmp_path, rows("frames/bench/2031-04-17/3.jpg"))
        names = ["frames/bench/2031-04-17/1.jpg", "frames/bench/2031-04-17/3.jpg"]
        assert [*read_copied(tmp_path)] == names, whole[:end]
