"""A desk on a real socket, over a season whose truth is known."""

import shutil
import threading
from contextlib import contextmanager
from datetime import UTC, datetime

import pytest

from lapsekit.measuring import measure
from lapsekit.trust import trust
from tests.scenes import fill, make_season

NOW = datetime(2031, 4, 5, 18, tzinfo=UTC)
PHONE, LAPTOP = {"width": 360, "height": 740}, {"width": 1280, "height": 860}


@contextmanager
def served(folder, now=NOW, password_hash=None):
    """The desk of a season folder, answering on a thread; its address."""
    from lapsekit.desk.app import Reach, make_app
    from lapsekit.web import serving

    with serving.bound("127.0.0.1", 0) as socket:
        port = socket.getsockname()[1]
        names = serving.local_names("127.0.0.1", port)
        reach = Reach(hosts=names, password_hash=password_hash)
        app = make_app(folder, reach, clock=lambda: now)
        server = serving.server(app)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [socket]}, daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{port}"
        finally:
            app.app.state.desk.jobs.stop_all()
            server.should_exit = True
            thread.join()


@pytest.fixture(scope="session")
def measured_folder(tmp_path_factory):
    """Five days of a bench with two discs that grow, measured; to be copied."""
    season = make_season(tmp_path_factory.mktemp("desk") / "bench")
    fill(season)
    season.index()
    measure(season, 1)
    season.catalogue.close()
    return season.folder


@pytest.fixture
def folder(measured_folder, tmp_path):
    """A copy of that season, to be changed."""
    copy = tmp_path / "bench"
    shutil.copytree(measured_folder, copy)
    trust(copy)
    return copy


@pytest.fixture
def desk(folder):
    """The address of its desk."""
    with served(folder) as address:
        yield address


@pytest.fixture
def page(browser, desk):
    """A phone's browser at the desk; afterwards nothing was on its console."""
    context = browser.new_context(viewport=PHONE, base_url=desk)
    page = context.new_page()
    messages = []
    page.on("console", lambda message: messages.append(message.text))
    page.on("pageerror", lambda error: messages.append(str(error)))
    yield page
    context.close()
    assert [
        told for told in messages if "the server responded with a status of 4" not in told
    ] == []
