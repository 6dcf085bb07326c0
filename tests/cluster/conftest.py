"""A season measured here once, that all tests hold their own against."""

import pytest

from tests.cluster.clusters import copy_of, measured_here, sample_season

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
