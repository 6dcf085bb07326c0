"""``lapsekit propose``: regions for a season that has none, printed or added to its file."""

import json
import tomllib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lapsekit.errors import SettingsError
from lapsekit.proposing import Proposed, propose_regions, write_overlay, write_regions
from lapsekit.season import Season
from lapsekit.telling_regions import proposed, whole_picture
from lapsekit.trust import trust
from lapsekit.vision.plant_rooms import Proposal
from lapsekit.vision.regions import region_mask
from sample_frames.render.layout import View
from sample_frames.render.moment import bench_at
from sample_frames.render.story import day_time
from tests.scenes import bench_picture, encoded, make_season
from tests.test_cli import refused, succeeded

SAMPLE = Path(__file__).parent.parent / "sample_frames"
NONE_YET = """\
# my own line
[[region]]
name = "pot-1"  # the whole bench, so far
camera = "bench"
[[region.outline]]
from = 2026-03-09
"""


@pytest.fixture(scope="module")
def early(tmp_path_factory):
    """The sample season's first three days, without its outlines."""
    folder = tmp_path_factory.mktemp("propose") / "season"
    trust_me = folder / "frames" / "bench"
    trust_me.mkdir(parents=True)
    for day in ("2026-03-12", "2026-03-13", "2026-03-14"):
        (trust_me / day).symlink_to(SAMPLE / "frames" / "bench" / day)
    (folder / "season.toml").write_text((SAMPLE / "season.toml").read_text())
    (folder / "regions.toml").write_text(NONE_YET)
    trust(folder)
    season = Season(folder)
    season.index()
    return season


def test_after_three_days_separate_pots_are_proposed_and_kept_with_the_growers_lines(early):
    """The four pots of the front row overlap their outlines by 0.8 and more; all are written."""
    found = propose_regions(early)
    masks = [region_mask((720, 960), p.points) for p in found.proposals]
    truth = Season(SAMPLE).regions.by_name
    for name in ("green-lettuce", "red-lettuce", "sunflower", "pak-choi"):
        true = region_mask((720, 960), truth[name].outline[0].points)
        assert max(np.sum(true & m) / np.sum(true | m) for m in masks) >= 0.8, name
    picture = early.folder / "proposed.jpg"
    write_overlay(found, picture)
    assert picture.stat().st_size > 20_000
    path = write_regions(early, found)
    assert path.read_text().startswith(NONE_YET)
    written = Season(early.folder).regions
    assert len(written.region) == 1 + len(found.proposals)
    (told,) = whole_picture(Season(early.folder), found)
    assert f'region "{written.region[0].name}" is the whole picture' in told
    assert tomllib.loads(found.as_toml)["region"][0]["name"] == "pot-2"
    with pytest.raises(SettingsError, match="is outlined already"):
        write_regions(Season(early.folder), found)


def test_what_cannot_be_written_is_refused_before_any_frame_is_looked_at(tmp_path):
    """This season has none: with a place that is fine, that is what is said."""
    folder = make_season(tmp_path / "bench").folder
    (folder / "regions.toml").write_text(NONE_YET)
    told = {name: tmp_path / name for name in ("fine.jpg", "no.png", "none/x.jpg")}
    assert "no frame yet" in refused("propose", "-s", folder, "--out", told["fine.jpg"], code=78)
    for name in ("no.png", "none/x.jpg"):
        assert "--out" in refused("propose", "-s", folder, "--out", told[name], code=78)
    (folder / "regions.toml").write_text(NONE_YET + "points = [[0, 0], [9, 0], [9, 9]]\n")
    assert "is outlined already" in refused("propose", "-s", folder, "--write", code=78)


def test_each_day_that_is_looked_at_is_told_while_it_lasts(met):
    told = []

    def track(items, total, label):
        for item in items:
            told.append((item, total, label))
            yield item

    days = propose_regions(Season(met), track=track).days
    assert told[0] == (days[0], 1, "looking at days")


def test_containers_with_hidden_rims_are_told_in_a_line_a_day():
    count = 5
    seen = (date(2031, 5, 2), date(2031, 5, 1), None, date(2031, 5, 2), None)
    names = tuple(f"cell-{n}" for n in range(1, count + 1))
    each = Proposal(((0.0, 0.0), (9.0, 0.0), (9.0, 9.0)), "cell", 0.9)
    day, picture = date(2031, 6, 1), np.zeros((9, 9, 3), np.uint8)
    found = Proposed(
        "bench", (each,) * count, names, day, (day,), picture, 1, seen, (None,) * count
    )
    lines = [line for line in proposed(found, None, None) if "leaves hide" in line]
    assert lines == [
        "# cell-2: leaves hide most of the rim, last seen well on 2031-05-01; what was potted on "
        "since, draw anew",
        "# cell-1, cell-4: leaves hide most of each rim, last seen well on 2031-05-02; what was "
        "potted on since, draw anew",
    ]


def test_a_camera_that_is_not_there_is_named(early):
    with pytest.raises(SettingsError, match='no camera "roof"; it has bench'):
        propose_regions(early, "roof")


@pytest.fixture(scope="module")
def met(tmp_path_factory):
    """A bench of six plants without containers, of which two stand so near that they meet."""
    season = make_season(tmp_path_factory.mktemp("met") / "bench")
    (season.folder / "regions.toml").write_text("")
    discs = [(50, 50, 18), (270, 50, 18), (50, 190, 18), (270, 190, 18)]
    picture = encoded(bench_picture([*discs, (145, 120, 18), (175, 120, 18)]))
    first = datetime(2031, 4, 1, 9, tzinfo=UTC)
    for hour in (0, 3, 6):
        season.archive.store("bench", first + timedelta(hours=hour), picture, ".png")
    season.index()
    season.catalogue.close()
    return season.folder


def test_plants_that_meet_are_told_of_in_words_in_json_and_on_the_picture(met, tmp_path):
    """Nothing is divided: five outlines, of which the one in the middle is asked about."""
    picture = tmp_path / "proposed.jpg"
    said = succeeded("propose", "--season", met, "--out", picture)
    told = [line for line in said.splitlines() if "may be two plants that meet" in line]
    assert len(told) == 1 and told[0].startswith("# plant-3: ")
    assert "split it by hand" in told[0] and len(tomllib.loads(said)["region"]) == 5
    regions = json.loads(succeeded("propose", "--season", met, "--json"))["regions"]
    (several,) = [each["may_be_several"] for each in regions if each["may_be_several"]]
    assert regions[2]["may_be_several"] == several
    assert several["elongation"] > 1.5 and several["times_larger"] is None
    strip = np.asarray(Image.open(picture).convert("L"))[240:]
    assert strip.shape[0] > 20 and strip.min() < 80  # dark letters below the bench
    written = succeeded("propose", "--season", met, "--write")
    assert "plant-3: may be two plants that meet" in written
    assert len(Season(met).regions.region) == 5


def true_rim(name, moment):
    """A round pot's rim as the generator's camera sees it, filled: (720, 960) bool."""
    pot = next(pot for pot in bench_at(day_time(moment)) if pot.name == name)
    around = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    x, y = pot.half[0] * np.cos(around) + pot.x, pot.half[0] * np.sin(around) + pot.y
    rim = View().project(np.stack([x, y, np.full_like(x, pot.height)], -1))[0]
    return region_mask((720, 960), rim.tolist())


def test_weeks_later_the_rim_proposed_is_that_of_the_pot_in_which_the_plant_is_by_then(tmp_path):
    """The sample season's chard: its first pot, its larger one, and that hidden by its leaves."""
    folder = tmp_path / "season"
    (folder / "frames" / "bench").mkdir(parents=True)
    for day in ("2026-03-12", "2026-04-06", "2026-04-20", "2026-05-20"):
        (folder / "frames" / "bench" / day).symlink_to(SAMPLE / "frames" / "bench" / day)
    (folder / "season.toml").write_text((SAMPLE / "season.toml").read_text())
    (folder / "regions.toml").write_text(NONE_YET)
    season = Season(folder)
    season.index()
    found = propose_regions(season)
    true, told = true_rim("chard", season.daily_at(found.days[-1])), []
    for proposal, hidden in zip(found.proposals, found.hidden, strict=True):
        mask = region_mask((720, 960), proposal.container or [(0, 0), (1, 0), (1, 1)])
        told.append((np.sum(true & mask) / np.sum(true | mask), hidden))
    overlap, hidden = max(told, key=lambda each: each[0])
    assert overlap > 0.8
    assert hidden == date(2026, 4, 20)
