"""The diary as a calendar: read back by another parser, line by line as the standard wants."""

from dataclasses import replace
from datetime import UTC, date, datetime

from icalendar import Calendar

from lapsekit.language.words import ENGLISH
from lapsekit.site.elsewhere.calendar_file import calendar
from tests.site.elsewhere.hostile_season import ADDRESS, FIRST, LONG, SOWN, event, season

NOTE = "14 cm; peat\\free, watered\nslowly: “ja” – ✓ " + "ü" * 200


def read(content):
    return list(Calendar.from_ical(content).walk("VEVENT"))


def of(*events, **changes):
    return season(1, events=tuple(events), **changes)


def test_every_event_comes_back_as_it_was_written():
    content = calendar(of(event(what="potted on", note=NOTE)), ENGLISH)
    sown, potted = read(content)
    assert str(potted["SUMMARY"]) == "potted on (Basil)"
    assert str(potted["DESCRIPTION"]) == NOTE
    assert potted.decoded("DTSTART") == FIRST
    assert potted.decoded("DTEND") == date(2031, 4, 2)
    assert potted["TRANSP"] == "TRANSPARENT"
    assert sown.decoded("DTSTART") == SOWN


def test_a_day_of_sowing_that_the_diary_tells_is_not_told_twice():
    content = calendar(of(event(day=SOWN, what="Sown", region="")), ENGLISH)
    assert len(read(content)) == 1
    assert len(read(calendar(of(), ENGLISH))) == 1


def test_lines_end_in_crlf_and_have_75_octets_at_most_with_no_letter_cut():
    content = calendar(of(event(note="ü€😀" * 3000)), ENGLISH)
    lines = content.split(b"\r\n")
    assert lines.pop() == b""
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert max(len(line) for line in lines) <= 75
    for line in lines:
        line.decode()
    assert str(read(content)[1]["DESCRIPTION"]) == "ü€😀" * 3000


def test_hostile_text_makes_no_event_and_no_line_of_its_own():
    content = calendar(of(event(), title="Herbs\r\nBEGIN:VEVENT\r\nSUMMARY:forged"), ENGLISH)
    assert content.count(b"\r\nBEGIN:VEVENT") == 2
    assert len(read(content)) == 2
    assert not set(content) & {0x00, 0x08, 0x1B}
    assert LONG in str(read(content)[1]["DESCRIPTION"])


def test_uid_and_stamp_stay_when_note_and_title_change_and_name_no_build():
    potted, moved = event(what="potted on"), event(what="moved", region="cress")
    before = read(calendar(of(potted, moved), ENGLISH))
    changed = of(replace(potted, note="now known"), moved, title="Renamed", address=None)
    after = read(calendar(changed, ENGLISH))
    assert [e["UID"] for e in before] == [e["UID"] for e in after]
    assert len({str(e["UID"]) for e in before}) == 3
    assert before[1].decoded("DTSTAMP") == datetime(2031, 4, 1, tzinfo=UTC)
    assert str(before[1]["UID"]) == "31a91a1e-0660-5541-8d95-7e9a1ebd34ff"


def test_the_same_line_twice_is_two_events():
    content = calendar(of(event(), event()), ENGLISH)
    assert len({str(e["UID"]) for e in read(content)}) == 3


def test_events_of_days_with_a_page_lead_there_where_the_site_has_an_address():
    pages = frozenset({FIRST})
    told = of(event())
    sown, potted = read(calendar(told, ENGLISH, pages))
    assert potted["URL"] == f"{ADDRESS}day/2031-04-01/"
    assert "URL" not in sown
    assert b"URL" not in calendar(replace(told, address=None), ENGLISH, pages)
