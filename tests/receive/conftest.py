"""An upload page that is open, and pictures to send."""

from dataclasses import dataclass
from pathlib import Path

import pytest
from PIL import Image

from lapsekit.receive.app import make_app
from lapsekit.season import Season
from lapsekit.web import serving
from lapsekit.web.reach import Reach
from tests.scenes import SETTINGS, bench_picture, make_season
from tests.web.serving_apps import on_socket

FOLLOWERS = """
[followers]
contact = "School office, office@school.example"
"""


def receive_app(folder, **reach):
    """What `on_socket` serves: the upload page of a season folder."""

    def make(port):
        hosts = serving.local_names("127.0.0.1", port, ("bench.example",))
        return make_app(folder, Reach(hosts=hosts, port=port, **reach))

    return make


@dataclass
class Open:
    """A season with its upload page."""

    folder: Path
    port: int

    @property
    def address(self):
        return f"http://127.0.0.1:{self.port}/"

    @property
    def season(self):
        return Season(self.folder)


@pytest.fixture
def opened_with(tmp_path):
    """Opens the upload page of a season with more settings."""
    from contextlib import ExitStack

    with ExitStack() as stack:

        def open_with(more="", **reach):
            folder = tmp_path / f"bench-{len(list(tmp_path.iterdir()))}"
            make_season(folder, SETTINGS + FOLLOWERS + more)
            port = stack.enter_context(on_socket(receive_app(folder, **reach)))
            return Open(folder, port)

        yield open_with


@pytest.fixture
def upload(opened_with):
    """An upload page as it is without further settings."""
    return opened_with()


@pytest.fixture(scope="session")
def photo(tmp_path_factory):
    """A JPEG as a phone makes it, with a place and a day in it."""
    file = tmp_path_factory.mktemp("phone") / "IMG_0042.jpg"
    exif = Image.Exif()
    exif[0x010F] = "Phone maker"
    exif.get_ifd(0x8769)[0x9003] = "2026:04:11 10:20:30"
    exif.get_ifd(0x8825).update({1: "N", 2: (11.0, 12.0, 13.0)})
    Image.fromarray(bench_picture([(160, 120, 60)])).save(file, quality=90, exif=exif)
    return file
