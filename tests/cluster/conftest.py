"""A season measured here once, that all tests hold their own against."""

import pytest

from lapsekit.clusters.joining import joined
from tests.cluster.clusters import copy_of, measured_here, sample_season
from tests.scenes import fill, make_season

pytest.importorskip("distributed")
pytest.importorskip("s3fs")
pytest.importorskip("paramiko")


@pytest.fixture(scope="session")
def measured(tmp_path_factory):
    """The season's frames and texts, and all that measuring them in this process gives."""
    folder = tmp_path_factory.mktemp("here")
    season = sample_season(folder / "frames")
    return season, measured_here(copy_of(season, folder / "measured"))


@pytest.fixture
def fresh(measured, tmp_path):
    """A copy of that season in which nothing is measured."""
    return copy_of(measured[0], tmp_path / "fresh")


@pytest.fixture
def wanted(measured):
    """All that its catalogue and its shapes must hold in the end."""
    return measured[1]


@pytest.fixture(scope="session")
def drawn_frames(tmp_path_factory):
    """A drawn season of fifteen small frames, and all that measuring them in this process gives."""
    folder = tmp_path_factory.mktemp("drawn")
    season = make_season(folder / "frames")
    fill(season)
    return season, measured_here(copy_of(season, folder / "measured"))


@pytest.fixture
def drawn(drawn_frames, tmp_path):
    """A copy of that season in which nothing is measured."""
    season = copy_of(drawn_frames[0], tmp_path / "drawn")
    yield season
    season.catalogue.close()


@pytest.fixture
def wanted_drawn(drawn_frames):
    """All that its catalogue and its shapes must hold in the end."""
    return drawn_frames[1]


@pytest.fixture(scope="session")
def own():
    """A process of this machine to measure on, for all tests that end none."""
    with joined("local", 1) as machines:
        yield machines
