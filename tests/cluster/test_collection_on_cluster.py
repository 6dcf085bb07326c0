"""A collection is measured on one connection, and gives what measuring each season here gives."""

import shutil
from contextlib import nullcontext

import pytest

from lapsekit.clusters.measuring_there import MeasuringThere
from lapsekit.collecting.measuring import measure_all
from lapsekit.collecting.members import open_collection
from lapsekit.errors import ClusterGone, SettingsError
from lapsekit.season import Season
from tests.cluster.clusters import copy_of, everything
from tests.collecting.benches import collection


def test_seasons_measured_on_one_connection_hold_every_bit_of_those_measured_here(
    drawn, wanted_drawn, own
):
    folder = drawn.folder.parent
    copy_of(drawn, folder / "drawn-2").catalogue.close()
    (folder / "drawn-broken").mkdir()
    file = collection(
        folder, '[[season]]\nfolder = "drawn*"\n[[season]]\nfolder = "drawn-broken"\n'
    )
    before = own.tasks
    found = measure_all(
        open_collection(file), lambda _: nullcontext(), elsewhere=lambda _: MeasuringThere(own)
    )
    done = {each.member.key: each for each in found}
    assert {key: each.result and each.result.measured for key, each in done.items()} == {
        **{"drawn": 15, "drawn-2": 15, "drawn-broken": None}
    }
    assert own.tasks > before
    for name in ("drawn", "drawn-2"):
        assert everything(Season(folder / name)) == wanted_drawn


def test_workers_find_each_seasons_frames_below_one_address_by_its_folders_name(
    drawn, wanted_drawn, own
):
    """That of the second is not there: it is told, and the first is measured all the same."""
    folder = drawn.folder.parent
    copy_of(drawn, folder / "drawn-2").catalogue.close()
    base = folder / "far"
    shutil.copytree(drawn.folder / "frames", base / "drawn")
    file = collection(folder, '[[season]]\nfolder = "drawn*"\n')
    found = measure_all(
        open_collection(file),
        lambda _: nullcontext(),
        elsewhere=lambda member: MeasuringThere(own, member.address(base.as_uri())),
    )
    done = {each.member.key: each for each in found}
    assert everything(Season(folder / "drawn")) == wanted_drawn
    assert done["drawn-2"].result is None and "far/drawn-2" in done["drawn-2"].broken.why


def test_a_season_beside_the_collections_file_has_no_place_below_an_address(drawn):
    inner = drawn.folder.parent / "inner"
    inner.mkdir()
    (member,) = open_collection(collection(inner, '[[season]]\nfolder = "../drawn"\n')).members
    with pytest.raises(SettingsError, match="not below the collection's file"):
        member.address("s3://benches")


def test_a_cluster_that_is_gone_ends_the_run_instead_of_being_waited_for_by_each_season(drawn):
    folder = drawn.folder.parent
    copy_of(drawn, folder / "drawn-2").catalogue.close()
    asked = []

    class Gone:
        def __init__(self, member):
            pass

        def looked_at(self, season, paths):
            asked.append(season.folder.name)
            raise ClusterGone("no worker is left")

    file = collection(folder, '[[season]]\nfolder = "drawn*"\n')
    try:
        list(measure_all(open_collection(file), lambda _: nullcontext(), elsewhere=Gone))
    except ClusterGone:
        assert asked == ["drawn"]
    else:
        raise AssertionError("the run went on")
