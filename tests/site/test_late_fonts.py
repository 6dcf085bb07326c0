"""Fonts that come late shift nothing, in a browser."""

import re
import time
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer

import pytest

from lapsekit.season import Season
from lapsekit.site.build import build_site
from tests.browsing import opened, running

pytestmark = pytest.mark.browser

LATE_S = 0.7
SHIFTS = """() => new Promise(done => { let sum = 0;
  new PerformanceObserver(list => list.getEntries().forEach(each => {
    if (each.startTime > 500) sum += each.value;
  })).observe({type: 'layout-shift', buffered: true}); setTimeout(() => done(sum), 300) })"""

#: How long each font took, in ms, by its name.
LOADED = """Object.fromEntries(performance.getEntriesByType('resource')
  .filter(each => each.name.endsWith('.woff2'))
  .map(each => [each.name.split('/').pop(), each.duration]))"""


class _Late(SimpleHTTPRequestHandler):
    """A folder whose fonts take their time."""

    def log_message(self, *_):
        pass

    def do_GET(self):
        if self.path.endswith(".woff2"):
            time.sleep(LATE_S)
        super().do_GET()


@contextmanager
def served(season):
    """Address of a season's site."""
    build_site(season)
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Late, directory=season.site))
    with running(server) as root:
        yield root


@pytest.mark.parametrize("width", [412, 768, 1280])
def test_late_fonts_shift_nothing(browser, tiny, width):
    with (
        served(tiny) as address,
        opened(browser, address, viewport={"width": width, "height": 820}) as page,
    ):
        page.wait_for_function("document.fonts.check('1em Almanac')")
        page.wait_for_timeout(400)
        assert page.evaluate(LOADED)["almanac-regular.woff2"] > 1000 * LATE_S
        assert page.evaluate(SHIFTS) <= 0.002


@pytest.fixture
def plain(tiny):
    """The tiny season without the strange names that it has on purpose."""
    for name, rule in (("season.toml", r"^(title|about) = .*"), ("regions.toml", r"^(label) = .*")):
        file = tiny.folder / name
        told = r'\1 = "Basil & cress, day 34 of Tom’s “bench”"'
        file.write_text(re.sub(rule, told, file.read_text(), flags=re.MULTILINE))
    season = Season(tiny.folder)
    yield season
    season.catalogue.close()


def test_a_page_in_english_loads_two_fonts_and_no_more(browser, plain):
    with served(plain) as address, opened(browser, address) as page:
        page.goto(f"{address}about/index.html")
        page.wait_for_function("document.fonts.check('1em Almanac')")
        page.wait_for_timeout(400)
        assert set(page.evaluate(LOADED)) == {"almanac-regular.woff2", "almanac-italic.woff2"}
