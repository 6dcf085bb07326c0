"""Films in a real browser: they play to the end, are sought exactly, and show the true colours."""

import numpy as np
import pytest

from lapsekit.film.encoding import RECIPES, encode
from lapsekit.film.exports import write_beside
from lapsekit.film.joining import join
from lapsekit.film.tracks import Cue
from lapsekit.serving import open_server
from tests.browsing import CHROMIUM_ARGUMENTS, opened, running
from tests.film.made_films import (
    PER_SECOND,
    WIDTH,
    chart,
    number_of,
    numbered,
    of_patches,
    segments_of,
)

pytestmark = pytest.mark.browser

COUNTS = [12, 1, 2, 30, 3, 12]
TOTAL = sum(COUNTS)
CAPTIONS = [Cue(0, 0.5, "It begins"), Cue(0.5, 1.5, "<b>Potted</b> on")]
PLAYED = ("web", "av1")
PAGE = """<!doctype html><title>Film</title><link rel="icon" href="data:,">
<video src="{name}.mp4" poster="web-poster.jpg" muted preload="auto">
<track kind="captions" src="web-captions.vtt" default></video><canvas></canvas>"""
DRAWN = """(rows) => {
  const video = document.querySelector('video'), canvas = document.querySelector('canvas');
  const width = canvas.width = video.videoWidth, height = canvas.height = video.videoHeight;
  const on = canvas.getContext('2d', {willReadFrequently: true});
  on.drawImage(video, 0, 0);
  return [...on.getImageData(0, height - rows, width, rows).data];
}"""
SOUGHT = """(second) => new Promise((done) => {
  const video = document.querySelector('video');
  video.onseeked = () => requestAnimationFrame(() => requestAnimationFrame(done));
  video.currentTime = second;
})"""
PLAYED_ON = """() => new Promise((done) => {
  const video = document.querySelector('video'), seen = [];
  const look = (_, frame) => {
    seen.push(frame.mediaTime); video.requestVideoFrameCallback(look);
  };
  video.requestVideoFrameCallback(look);
  video.onended = () => done({seen, errors: video.error && video.error.message,
    frames: video.getVideoPlaybackQuality().totalVideoFrames});
  video.currentTime = 0; video.play();
})"""


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A web server with a page for each kind of film, and one of the colour chart for each."""
    folder = tmp_path_factory.mktemp("site")
    (folder / "index.html").write_text("<!doctype html><link rel='icon' href='data:,'>")
    picture, _ = chart()
    for name in PLAYED:
        segments = segments_of(folder / "parts", COUNTS, name)
        join(folder / f"{name}.mp4", segments, PER_SECOND, captions=CAPTIONS, chapters=CAPTIONS)
        encode(folder / f"{name}-chart.mp4", [picture] * 12, RECIPES[name], PER_SECOND)
        for each in (name, f"{name}-chart"):
            (folder / f"{each}.html").write_text(PAGE.format(name=each))
    write_beside(folder / "web.mp4", numbered(0), CAPTIONS, CAPTIONS)
    with open_server(folder, 0) as server, running(server) as root:
        yield root


@pytest.fixture(params=PLAYED)
def page(request, browser, address):
    """A film's page in a browser, loaded."""
    with opened(browser, address) as page:
        page.goto(f"{address}{request.param}.html")
        page.wait_for_function("document.querySelector('video').readyState >= 3")
        yield page


@pytest.fixture(scope="module")
def with_card(browser, chromium):
    """A Chromium that draws as with a graphics card, whose colours are exact.

    Without one it draws by a library that keeps blue's share of a colour in a byte too small for
    BT.709's: pure blue comes out as 245.
    """
    arguments = [each for each in CHROMIUM_ARGUMENTS if each != "--disable-gpu"]
    arguments += ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
    launched = browser.browser_type.launch(executable_path=chromium, args=arguments)
    yield launched
    launched.close()


def drawn(page, rows, width=WIDTH):
    """The lowest rows of what the browser shows, RGB."""
    return np.array(page.evaluate(DRAWN, rows), np.uint8).reshape(rows, width, 4)[..., :3]


def test_it_knows_how_long_it_is(page):
    length = page.evaluate("document.querySelector('video').duration")
    assert length == pytest.approx(TOTAL / PER_SECOND, abs=1e-3)
    assert page.evaluate("document.querySelector('video').videoWidth") == WIDTH


def test_every_second_that_is_sought_shows_its_picture(page):
    for number in (0, 11, 12, 13, 14, 15, 44, 45, 47, 48, TOTAL - 1, 3):
        page.evaluate(SOUGHT, (number + 0.5) / PER_SECOND)
        assert number_of(drawn(page, 16)) == number


def test_it_plays_to_its_end_over_all_joints(page):
    played = page.evaluate(PLAYED_ON)
    assert played["errors"] is None and played["frames"] >= TOTAL
    seen = np.array(played["seen"]) * PER_SECOND
    assert np.allclose(seen, np.round(seen), atol=0.01) and (np.diff(seen) > 0).all()
    assert seen[-1] >= TOTAL - 2


@pytest.mark.parametrize("kind", PLAYED)
def test_colours_are_those_that_went_in(with_card, address, kind):
    with opened(with_card, address) as page:
        page.goto(f"{address}{kind}-chart.html")
        page.wait_for_function("document.querySelector('video').readyState >= 3")
        page.evaluate(SOUGHT, 0.2)
        _, colours = chart()
        assert np.abs(of_patches(drawn(page, 256, 256)) - colours).max() <= 3


def test_captions_beside_the_film_are_shown_when_they_should_be(page):
    page.evaluate(SOUGHT, 0.9)
    page.wait_for_function("document.querySelector('video').textTracks[0].activeCues.length")
    text = page.evaluate(
        "document.querySelector('video').textTracks[0].activeCues[0].getCueAsHTML().textContent"
    )
    assert text == "<b>Potted</b> on"
