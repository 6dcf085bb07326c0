"""Several processes change a season's texts at once, and may be killed: nothing is lost."""

import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from lapsekit.diary import read_diary
from lapsekit.edits.book import Book
from lapsekit.founding import found_season
from lapsekit.locks import writing
from lapsekit.season import Season

ROOT = Path(__file__).parent.parent.parent

EDITOR = """
import sys, time, tomllib
from datetime import date
from pathlib import Path
from lapsekit.diary import Event
from lapsekit.edits.book import Book
from lapsekit.edits.diary_text import with_events
from lapsekit.edits.settings_text import with_value
from lapsekit.errors import ChangedMeanwhile
folder, who = Path(sys.argv[1]), sys.argv[2]
book, told = Book(folder), 0
print("ready", flush=True)
sys.stdin.readline()
for number in range(60):
    event = Event(date(2025, 5, 1), "", f"{who} {number}", "")
    book.change("note", {"diary.csv": lambda text: with_events(text, [event])})
    if number % 5 == 0:
        while True:
            seen = book.text("season.toml")
            about = tomllib.loads(seen.content)["season"].get("about", "")
            new = f"{about} {who}{number}".strip()
            time.sleep(0.03)  # somebody thinks
            edit = lambda text: with_value(text, ("season", "about"), new)
            try:
                book.change("about", {"season.toml": edit}, {"season.toml": seen.version})
                break
            except ChangedMeanwhile:
                told += 1
print(told)
"""

COMMAND = """
import sys
from datetime import date
from pathlib import Path
from lapsekit.noting import Figures, add_events
from lapsekit.season import Season
season = Season(Path(sys.argv[1]))
print("ready", flush=True)
sys.stdin.readline()
for number in range(60):
    add_events(season, "2025-05-01", f"{sys.argv[2]} {number}", [], "", Figures())
print(0)
"""

KILLER = """
import json, os, random, signal, sys, time
from datetime import date
from pathlib import Path
from lapsekit.edits import regions_text
from lapsekit.edits.book import Book
from lapsekit.edits.settings_text import with_value, without
from lapsekit.season import Season
folder, chance = Path(sys.argv[1]), random.Random(4)
TWO = [(0, 0), (9, 0), (9, 9)]

def put_in(book):
    book.change("in", {
        "season.toml": lambda t: with_value(t, ("cameras", "two"), {"kind": "files"}),
        "regions.toml": lambda t: regions_text.add_region(t, "mint", "two", date(2025, 4, 1), TWO),
    })

def take_out(book):
    book.change("out", {
        "season.toml": lambda t: without(t, ("cameras", "two")),
        "regions.toml": lambda t: regions_text.remove_region(t, "mint"),
    })

def state():
    season = Season(folder)
    return set(season.settings.cameras) == {"bench", "two"}, "mint" in season.regions.by_name

def alternate():
    book = Book(folder)
    while True:
        for act in (take_out, put_in) if state()[1] else (put_in, take_out):
            act(book)

begun = mixed = 0
for _ in range(25):
    child = os.fork()
    if child == 0:
        alternate()
    time.sleep(chance.uniform(0.002, 0.08))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    two, mint = state()                      # opens, whatever happened
    assert two or not mint
    mixed += two != mint
    begun += (folder / ".desk" / "undo" / "pending.json").exists()
    Book(folder).change("note", {"diary.csv": lambda t: t + "2025-05-01,,fed,\\n"})
    two, mint = state()
    assert two == mint, "half a change is left"
    assert not (folder / ".desk" / "undo" / "pending.json").exists()
print(json.dumps([begun, mixed]))
"""


@pytest.fixture
def folder(tmp_path):
    return found_season(tmp_path / "bench", "A bench", "UTC", date(2025, 3, 1))


def started(script, *arguments):
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def test_three_processes_at_once_lose_no_change_and_the_later_is_told(folder):
    running = [
        started(EDITOR, folder, "desk"),
        started(EDITOR, folder, "phone"),
        started(COMMAND, folder, "command"),
    ]
    for process in running:
        assert process.stdout.readline() == "ready\n"
    for process in running:
        process.stdin.write("go\n")
        process.stdin.flush()
    told = [int(process.communicate(timeout=120)[0]) for process in running]
    assert [process.returncode for process in running] == [0, 0, 0]
    events, problems = read_diary(folder / "diary.csv")
    wanted = {f"{who} {n}" for who in ("desk", "phone", "command") for n in range(60)}
    assert {event.what for event in events} == wanted and len(events) == 180 and problems == []
    about = Season(folder).settings.season.about.split()
    assert set(about) == {f"{who}{n}" for who in ("desk", "phone") for n in range(0, 60, 5)}
    assert len(about) == 24
    assert sum(told) > 0, "the two never met, so that nothing was shown"


def test_killed_at_any_moment_the_season_opens_and_no_change_is_left_half_done(folder):
    killer = started(KILLER, folder)
    told, _ = killer.communicate(timeout=120)
    assert killer.returncode == 0
    begun, _ = map(int, told.strip("[]\n").split(","))
    assert begun > 0, "no change was cut, so that nothing was shown"


def test_a_note_is_taken_while_a_stage_holds_the_season(folder):
    season = Season(folder)
    with season.lock("morning"):
        command = [sys.executable, "-m", "lapsekit", "diary", "add", "2025-05-01", "fed"]
        subprocess.run([*command, "-s", folder], cwd=ROOT, check=True, timeout=60)
    assert [event.what for event in read_diary(folder / "diary.csv")[0]] == ["fed"]


def test_who_holds_the_texts_is_waited_for(folder):
    process = started(EDITOR, folder, "desk")
    process.stdout.readline()
    with writing(folder, "test"):
        process.stdin.write("go\n")
        process.stdin.flush()
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(timeout=0.5)
        assert read_diary(folder / "diary.csv")[0] == []
    process.kill()
    process.communicate()
    Book(folder).text("diary.csv")
