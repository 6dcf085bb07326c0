"""What came in waits, once, with what was told of it made fit; nothing else is kept."""

import subprocess
import sys
import threading
from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from lapsekit.errors import FollowerError, SettingsError
from lapsekit.followers import codes, opening
from lapsekit.followers.plants import dates, region_of
from lapsekit.followers.receiving import take_in
from lapsekit.followers.records import (
    FOLDER,
    damaged,
    read_picture,
    read_record,
    records,
)
from lapsekit.followers.showing import shown
from lapsekit.vision.fingerprint import NEAR_BITS, bits_apart, fingerprint
from tests.followers.arriving import arrival, consent, encoded, followed, scene
from tests.hostile import laden_jpeg, require_clean


@pytest.fixture
def bench(tmp_path):
    return followed(tmp_path / "bench")[0]


def kept(season):
    """Every file that there is of followers."""
    return [f for f in sorted((season.folder / FOLDER).rglob("*")) if f.is_file()]


def test_a_picture_waits_with_what_was_told_and_nothing_is_shown(bench):
    received = take_in(bench, arrival())
    record = read_record(bench, received.id)
    assert (record.state, record.name, record.region) == ("waiting", "Ada", "basil")
    assert (record.sown, record.taken_on) == (date(2031, 4, 1), date(2031, 5, 19))
    assert record.age_days == 48
    assert shown(bench) == []


def test_of_what_came_only_a_picture_made_anew_and_the_record_are_kept(bench):
    data = laden_jpeg(4)
    received = take_in(bench, arrival(data=data))
    require_clean(read_picture(bench, received.id), data)
    assert all(b"CANARY" not in file.read_bytes() for file in kept(bench))


def test_what_is_kept_can_be_read_by_its_owner_alone(bench):
    take_in(bench, arrival())
    private = [f for f in kept(bench) if f.name in ("record.json", "picture.jpg", "seen.txt")]
    assert len(private) == 3
    assert all(file.stat().st_mode & 0o077 == 0 for file in private)


def test_the_same_arrival_is_taken_in_once_even_after_it_was_deleted(bench):
    from lapsekit.followers.deciding import take_down_by_id

    first = take_in(bench, arrival())
    again = take_in(bench, arrival())
    assert again.is_known and again.id == first.id and again.code is None
    take_down_by_id(bench, first.id)
    after = take_in(bench, arrival())
    assert after.is_known and after.id is None
    assert records(bench) == []


def test_a_filing_that_was_killed_before_it_was_noted_is_not_repeated(bench):
    first = take_in(bench, arrival())
    seen = bench.folder / FOLDER / codes.SEEN
    seen.write_text(seen.read_text().splitlines()[0] + "\n")  # as if killed before the last line
    assert take_in(bench, arrival()).id == first.id
    assert len(records(bench)) == 1


def test_two_at_once_of_the_same_arrival_make_one_record(bench):
    found = []
    threads = [
        threading.Thread(target=lambda: found.append(take_in(bench, arrival()))) for _ in range(3)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(records(bench)) == 1
    assert sorted(each.is_known for each in found) == [False, True, True]


def test_neither_code_nor_source_can_be_read_in_any_file(bench):
    received = take_in(bench, arrival(source="<message-17@example>"))
    text = b"".join(file.read_bytes() for file in kept(bench))
    letters = received.code.replace("-", "")
    assert received.code.encode() not in text and letters.encode() not in text
    assert b"message-17" not in text


def test_a_picture_sent_again_in_another_size_is_known_as_nearly_the_same(bench):
    first = take_in(bench, arrival(1))
    smaller = encoded(scene(1).resize((200, 150)), quality=40)
    second = take_in(bench, arrival(2, data=smaller))
    other = take_in(bench, arrival(3))
    assert read_record(bench, second.id).near == (first.id,)
    assert read_record(bench, other.id).near == ()


def test_fingerprints_of_other_pictures_lie_far_apart():
    import numpy as np

    prints = [fingerprint(np.array(scene(seed))) for seed in range(20)]
    apart = [bits_apart(a, b) for n, a in enumerate(prints) for b in prints[:n]]
    assert min(apart) > 2 * NEAR_BITS
    brighter = np.clip(np.array(scene(3)) * 0.8 + 20, 0, 255).astype(np.uint8)
    assert bits_apart(prints[3], fingerprint(brighter)) <= 3


def test_no_more_than_the_wanted_number_wait(tmp_path):
    bench, _ = followed(tmp_path / "full", "most_waiting = 1\n")
    take_in(bench, arrival(1))
    refused = take_in(bench, arrival(2))
    assert refused.is_for_now and "some days" in refused.refused
    assert len(records(bench)) == 1


def test_where_minors_are_not_taken_their_pictures_are_not_even_opened(tmp_path, monkeypatch):
    bench, _ = followed(tmp_path / "adults", 'minors = "never"\n')
    monkeypatch.setattr(opening, "answer_of", lambda *_: pytest.fail("was opened"))
    received = take_in(bench, arrival(consent=consent(is_adult=False, parent="Bo")))
    assert "children" in received.refused
    assert kept(bench) == []


def test_a_refusal_keeps_nothing_and_says_why_in_the_senders_language(bench):
    received = take_in(bench, arrival(data=b"GIF89a", language="en"))
    assert "JPEG" in received.refused
    assert kept(bench) == []


def test_nothing_is_taken_in_before_somebody_can_be_turned_to(tmp_path):
    from tests.scenes import make_season

    with pytest.raises(SettingsError, match=r"followers\.contact"):
        take_in(make_season(tmp_path / "plain"), arrival())


HOSTILE = [
    "../../etc/passwd",
    "<script>alert(1)</script>",
    "a\u202egnp.exe",
    "x" * 20_000,
    "null\0byte",
    "two\nlines\r\nBcc: all",
    "\ud800",
    "{{ 7*7 }}",
    '"; drop table',
]


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_strangers_words_stay_bounded_text_on_one_line_and_never_become_a_path(bench, text):
    told = {"name": text, "plant": text, "caption": text, "file_name": text, "contact": text}
    received = take_in(
        bench, arrival(**told, language=text, consent=consent(is_adult=False, parent=text))
    )
    record = read_record(bench, received.id)
    for kept_text in (record.name, record.plant, record.caption, record.consent.parent):
        assert len(kept_text) <= 500 and "\n" not in kept_text and "\0" not in kept_text
        assert "\u202e" not in kept_text
    assert record.contact == "" and record.language == "en"
    names = {file.name for file in kept(bench)}
    assert names <= {"record.json", "picture.jpg", "seen.txt"}


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(max_size=60))
def test_no_text_names_a_record_that_is_not_there(bench, text):
    with pytest.raises(FollowerError):
        read_record(bench, text)


def test_a_record_that_is_damaged_is_told_and_the_others_stand(bench):
    broken, whole = take_in(bench, arrival(1)), take_in(bench, arrival(2))
    file = bench.folder / FOLDER / "waiting" / broken.id / "record.json"
    file.write_text("{")
    assert [record.id for record in records(bench)] == [whole.id]
    assert len(damaged(bench)) == 1 and str(file) in damaged(bench)[0]


CAME = date(2031, 5, 20)


@pytest.mark.parametrize(
    ("told", "expected", "notes"),
    [
        ((date(2031, 4, 1), date(2031, 5, 1), None), (date(2031, 4, 1), date(2031, 5, 1)), 0),
        ((date(2031, 4, 1), None, date(2031, 5, 2)), (date(2031, 4, 1), date(2031, 5, 2)), 0),
        ((date(2031, 4, 1), None, None), (date(2031, 4, 1), CAME), 0),
        ((date(2032, 4, 1), None, None), (None, CAME), 1),
        ((date(2031, 5, 3), date(2031, 5, 1), None), (None, date(2031, 5, 1)), 1),
        ((date(2029, 5, 3), date(2031, 5, 1), None), (None, date(2031, 5, 1)), 1),
        ((None, date(2031, 6, 1), date(2031, 5, 2)), (None, date(2031, 5, 2)), 1),
        ((date(2031, 4, 1), None, date(1970, 1, 1)), (date(2031, 4, 1), CAME), 1),
        ((None, date(2031, 5, 21), None), (None, date(2031, 5, 21)), 0),
    ],
)
def test_days_that_cannot_be_are_dropped_with_a_note(told, expected, notes):
    found = dates(*told, CAME)
    assert (found.sown, found.taken_on) == expected
    assert len(found.notes) == notes


@pytest.mark.parametrize(
    ("word", "region"),
    [
        ("basil", "basil"),
        ("Our BASIL, pot 3", "basil"),
        ("Bassil", "basil"),
        ("chives and basil", ""),
        ("basilisk", ""),
        ("tomato", ""),
        ("", ""),
        ("../basil", "basil"),
    ],
)
def test_a_word_for_a_plant_finds_its_region_where_it_is_sure(bench, word, region):
    assert region_of(word, bench.regions.region) == region


def test_codes_have_64_bits_and_are_read_however_they_are_typed():
    assert len(codes.ALPHABET) ** 16 >= 2**64
    assert not set("ILOU") & set(codes.ALPHABET)
    code = codes.new_code()
    assert codes.as_code(f" {code.lower().replace('-', ' ')} ") == code
    assert codes.as_code("ABCD") is None and codes.as_code(code + "A") is None
    assert codes.new_code() != code


def test_a_season_whose_pictures_come_from_phones_held_upright_and_large(bench):
    large = encoded(Image.new("RGB", (3000, 4000), (10, 120, 30)))
    record = read_record(bench, take_in(bench, arrival(data=large)).id)
    assert (record.picture.width, record.picture.height) == (1200, 1600)


def test_the_receiver_loads_no_heavy_library_before_a_picture_came():
    code = "import sys, lapsekit.followers.receiving; print(*{'cv2', 'numpy'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []


def findings(season):
    from lapsekit.checking.finding import Look
    from lapsekit.checking.followers import received

    return [(each.how, each.told) for each in received(Look(season))]


def test_a_check_tells_what_waits_and_where_nothing_confines_the_opening(bench, monkeypatch):
    from lapsekit.checking import followers

    take_in(bench, arrival())
    assert [how for how, _ in findings(bench)] == ["fine"]
    assert "1 wait, since 2031-05-20" in findings(bench)[0][1]
    monkeypatch.setattr(followers, "confinement", lambda: "")
    assert [how for how, _ in findings(bench)] == ["wrong"]


def test_consent_text_and_refusals_are_spoken_in_german_to_who_writes_german(bench):
    from lapsekit.followers.notice import notice
    from lapsekit.followers.wordings import wording

    refused = take_in(bench, arrival(data=b"GIF89a", language="de"))
    assert "Bitte schick " in refused.refused
    text = wording(bench, "de")
    assert text.language == "de" and "volljährig" in text.text
    assert "nach 60 Tagen" in notice(bench, "de")
