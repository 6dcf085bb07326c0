"""A collection is measured on one connection, and gives what measuring each season here gives."""

from contextlib import nullcontext

from lapsekit.clusters.measuring_there import MeasuringThere
from lapsekit.collecting.measuring import measure_all
from lapsekit.collecting.members import open_collection
from lapsekit.errors import ClusterGone
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
        open_collection(file), lambda _: nullcontext(), elsewhere=lambda: MeasuringThere(own)
    )
    done = {each.member.key: each for each in found}
    assert {key: each.result and each.result.measured for key, each in done.items()} == {
        **{"drawn": 15, "drawn-2": 15, "drawn-broken": None}
    }
    assert own.tasks > before
    for name in ("drawn", "drawn-2"):
        assert everything(Season(folder / name)) == wanted_drawn


def test_a_cluster_that_is_gone_ends_the_run_instead_of_being_waited_for_by_each_season(drawn):
    folder = drawn.folder.parent
    copy_of(drawn, folder / "drawn-2").catalogue.close()
    asked = []

    class Gone:
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
