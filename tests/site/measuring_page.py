"""The follower's page of a tiny season on a web server, and pictures given to its worker."""

import shutil
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from lapsekit.detail import detail_of
from lapsekit.vision.canopy import cover_and_doubt
from lapsekit.vision.pictures import decode, reduced
from lapsekit.vision.reduction import reduction_of
from tests.browsing import running

ASK = """async ({picture, box}) => {
  await lapsekit.measuring.begun(document.getElementById("yours").dataset.rule);
  const file = await (await fetch(picture)).blob();
  const began = performance.now();
  const found = await lapsekit.measuring.ask({what: "measure", picture: file});
  const whole = [0, 0, found.width, found.height];
  const area = await lapsekit.measuring.ask({what: "area", box: box || whole});
  return {
    width: found.width, height: found.height, by: found.by, whole: found.whole,
    told: found.told, maskPixels: found.maskPixels,
    seconds: (performance.now() - began) / 1000, ...area,
  };
}"""

START = """({programAt, ruleAt}) =>
  lapsekit.measuring.ask({what: "start", programAt, ruleAt})"""

#: Longest time for which the page could do nothing else while `ASK` ran.
WATCHED = """async (question) => {
  let longest = 0, last = performance.now(), on = true;
  const look = () => {
    const now = performance.now();
    longest = Math.max(longest, now - last);
    last = now;
    if (on) setTimeout(look);
  };
  look();
  const found = await (ASK)(question);
  on = false;
  return {...found, longest: longest / 1000};
}""".replace("ASK", ASK)


class _Quiet(SimpleHTTPRequestHandler):
    """Files of a folder, with more headers where they are asked for."""

    more: tuple[tuple[str, str], ...] = ()

    def end_headers(self):
        for name, value in self.more:
            self.send_header(name, value)
        super().end_headers()

    def log_message(self, *_):
        pass


@contextmanager
def served(folder: Path, *headers: tuple[str, str]):
    """Address of a folder on a web server that sends these headers with every file."""
    kind = type("Kind", (_Quiet,), {"more": headers})
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(kind, directory=folder))
    with running(server) as root:
        yield root


def put_beside(site: Path, *pictures: Path) -> list[str]:
    """Copy pictures into a site, to be read by its own pages; their addresses from a page of it."""
    (site / "given").mkdir(exist_ok=True)
    for number, picture in enumerate(pictures):
        shutil.copy(picture, site / "given" / f"{number}{picture.suffix}")
    return [f"../given/{number}{picture.suffix}" for number, picture in enumerate(pictures)]


def cover_by_python(file, model, method="model"):
    """Cover of a picture file, reduced where it is large, as a season measures it."""
    data = file.read_bytes()
    pixels = decode(data)
    by = reduction_of(pixels.shape[:2])
    small = reduced(pixels, by)
    return cover_and_doubt(small, method, model, detail=detail_of(data, small, by))[0]
