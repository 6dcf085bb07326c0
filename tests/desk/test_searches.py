"""Searches for regions at the desk: begun once, tried again after a fault, in nobody's way."""

import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from lapsekit.desk.proposed import Searches


def test_many_who_ask_at_once_begin_one_search():
    searches, begun, go_on = Searches(), [], threading.Event()

    def search():
        begun.append(1)
        go_on.wait(20)
        return "found"

    class Slow(dict):
        """Gives every other thread its turn between look and note."""

        def get(self, *told):
            found = super().get(*told)
            threading.Event().wait(0.02)
            return found

    searches._kept = Slow()
    with ThreadPoolExecutor(8) as threads:
        works = set(threads.map(lambda _: searches.begun("bench", 1, search), range(8)))
    go_on.set()
    assert len(works) == 1 and searches.told("bench", works.pop()) == "found" and begun == [1]


def test_a_search_that_failed_is_told_once_and_begun_anew():
    searches, found = Searches(), iter([0, 1])
    work = searches.begun("bench", 1, lambda: 1 // next(found))
    with pytest.raises(ZeroDivisionError):
        searches.told("bench", work)
    again = searches.begun("bench", 1, lambda: 1 // next(found))
    assert searches.told("bench", again) == 1
    assert searches.begun("bench", 1, lambda: 2) is again


def test_a_search_that_nobody_waits_for_any_more_is_not_begun():
    searches, go_on, begun = Searches(), threading.Event(), []
    first = searches.begun("other", 1, lambda: go_on.wait(20))
    while not first.running():
        pass
    old = searches.begun("bench", 1, lambda: begun.append("old"))
    new = searches.begun("bench", 2, lambda: begun.append("new"))
    go_on.set()
    searches.told("bench", new)
    assert old.cancelled() and begun == ["new"]


def test_a_desk_closes_while_a_search_goes_on():
    ask = (
        "import threading\n"
        "from lapsekit.desk.proposed import Searches\n"
        "begun = threading.Event()\n"
        "def search(): begun.set(); threading.Event().wait()\n"
        "Searches().begun('bench', 1, search); begun.wait()"
    )
    assert subprocess.run([sys.executable, "-c", ask], timeout=60, check=False).returncode == 0
