"""``lapsekit propose``: regions for a season that has none, printed or added to its file."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from lapsekit.errors import SettingsError
from lapsekit.proposing import propose_regions, write_overlay, write_regions
from lapsekit.season import Season
from lapsekit.trust import trust
from lapsekit.vision.regions import region_mask

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
    assert tomllib.loads(found.as_toml)["region"][0]["name"] == "pot-2"
    with pytest.raises(SettingsError, match="is outlined already"):
        write_regions(Season(early.folder), found)


def test_a_camera_that_is_not_there_is_named(early):
    with pytest.raises(SettingsError, match='no camera "roof"; it has bench'):
        propose_regions(early, "roof")
