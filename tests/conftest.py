"""Fixtures that more than one folder of tests uses."""

import fcntl
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import hypothesis
import pytest

from tests.browsing import CHROMIUM_ARGUMENTS
from tests.scenes import fill, make_season

CHECKOUT = Path(__file__).parent.parent

hypothesis.settings.register_profile("steady", derandomize=True, print_blob=True, deadline=None)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))
"""The same examples every time and no clock, so that main is not red by chance;
HYPOTHESIS_PROFILE=default looks for new ones."""


LONGEST = (
    "unattended/test_real_process.py",
    "copying/test_copying.py",
    "publishing/test_publishing.py",
    "copying/test_restoring.py",
    "unattended/test_faults.py",
    "film/test_film_grows.py",
    "site/test_every_page.py",
    "test_measuring.py",
    "film/test_film_benches.py",
    "growth/test_growth_study.py",
)
"""Files that take long begin first, so that no worker is left alone with one in the end."""


LONG = re.compile(
    "|".join(
        (
            r"test_story\.py::",
            r"test_demo\.py::",
            r"test_mornings\.py::",
            r"test_proving\.py::test_the_t(ruth_of_a_day|able_names)",
            r"growth/test_growth_cost\.py::test_a_morning",
            r"cluster/test_frames_elsewhere\.py::test_frames_(in_an_s3_bucket|on_an_sftp_server)",
            r"test_thinning\.py::test_(a_line_that_was_cut_off|stopped_before_any_step)",
            r"test_propose_command\.py::test_weeks_later_the_rim",
            r"test_lens_and_height\.py::test_a_lens_told_from_chessboards",
            r"test_cli\.py::test_two_measures_at_once",
            r"test_nobody_is_shown\.py::test_nobody_is_shown_on_the_morning_after",
            r"desk/test_desk_site\.py::test_a_site_built_here_knows",
            r"cluster/test_cluster_results\.py::test_(without_any_worker_left|work_that_kills)",
            r"site/test_made_again\.py::test_(pieces_that_were_damaged|growth_that_was)",
            r"copying/test_copying\.py::test_all_is_copied_once.*\[rsync\]",
            r"growth/test_alignment\.py::test_intervals_of_ratios",
            r"copying/test_copying\.py::.*\[(sftp|s3|webdav|sealed-s3)\]",
            r"copying/test_(copying\.py::test_killed_anywhere|restoring\.py::).*\[(rsync|sealed)\]",
            r"publishing/test_publishing\.py::test_cut_off_anywhere.*\[(rsync|sftp|s3)\]",
            r"copying/test_copying\.py::test_a_bit_that_flips.*\[rsync\]",
            r"cluster/test_cluster_results\.py::test_every_process",
            r"cluster/test_cluster_results\.py::test_worker_processes.*\[[14]\]",
            r"film/test_film_benches\.py::test_a_film_of_a_few_days",
            r"film/test_film_grows\.py::test_(killed_at_random|on_a_full_disk)",
            r"film/test_film_killed\.py::test_thirty_kills",
            r"film/test_film_benches\.py::test_a_seasons_film_is_held",
            r"film/test_joining\.py::.*\[(prores|h264-10|hevc)\]",
            r"site/test_made_again\.py::test_a_changed_season.*\[(?!changed_value)",
            r"cluster/test_cluster_safety\.py::test_options_that_do_not_fit.*\[options[123]",
            r"desk/test_desk_followers\.py::test_axe.*\[light-phone",
            r"followers/test_mail\.py::test_a_mail_of_thirty",
            r"film/test_film_cuts\.py::test_a_cut_of_one_region_follows",
            r"test_frames_command\.py::test_only_what_was_left_out_by_day",
            r"publishing/test_publishing\.py::test_a_site_arrives_grows.*\[(rsync|sftp)\]",
            r"desk/test_desk_site\.py::test_what_will_go_out",
            r"followers/test_growers_folder\.py::test_from_the_folder_to_the_site",
            r"test_thinning\.py::test_the_command_says",
            r"desk/test_desk_today\.py::test_frames_left_out_on_the_last_day",
            r"unattended/test_faults\.py::test_a_camera_that_fails.*\[hanging\]",
            r"desk/test_desk_frames\.py::test_frames_are_usable.*\[dark\]",
            r"test_cli\.py::test_a_diary_with_semicolons",
            r"test_sequences\.py::",
            r"test_reporting\.py::test_a_plant_that_still_doubles",
            r"sample/test_truth\.py::.*\[(150|340)\]",
            r"unattended/test_real_process\.py::test_(a_folder_that_is_read_only|jumps_of)",
            r"growth/test_growth_study\.py::",
            r"test_proving\.py::test_photographs",
            r"test_measuring\.py::test_kills_at_random",
            r"test_thinning\.py::test_killed_at_random",
            r"unattended/test_kills\.py::test_mornings",
            r"desk/test_setting_up\.py::.*laptop",
            r"test_cli\.py::test_measure_and_site_at_once",
            r"desk/test_desk_road\.py::.*\[by_(mail|folder)\]",
            r"desk/test_desk_followers\.py::test_(after_a_yes|where_the_site_goes)",
            r"desk/test_desk_jobs\.py::test_a_first_command_that_fails",
            r"copying/test_copying\.py::test_(all_is_copied_once|a_bit_that_flips).*\[sealed\]",
            r"followers/test_erased_copies\.py::.*\[sealed\]",
            r"collecting/test_collection_growth\.py::test_of_more_crops",
            r"cluster/test_cluster_safety\.py::test_a_worker_of_another_version",
            r"film/test_calm\.py::test_day_by_day",
            r"site/test_made_again\.py::test_what_a_days_page_is_told",
            r"web/test_paths\.py::test_no_trick",
            r"test_frames_command\.py::test_a_no_is_worked_into",
            r"desk/test_desk_frames\.py::test_the_word_counts_once",
            r"vision/test_canopy_properties\.py::test_seedlings_come_out_nearer",
            r"publishing/test_publishing\.py::test_a_linked_folder",
            r"web/test_commands_open\.py::test_a_password_is_set_once",
            r"frames/test_finishing\.py::test_a_picture_that_needs_too_much_memory",
            r"desk/test_desk_site\.py::test_a_film_is_set_previewed",
            r"site/test_yours\.py::test_a_picture_of_another_shape",
        )
    )
)
"""Full seasons, many kills, and further kinds of what another kind shows: they run apart, by
``tests/run -m long``."""


def pytest_collection_modifyitems(config, items):
    """Long tests wait until they are asked for; files that take long begin first."""
    for item in items:
        if LONG.search(item.nodeid):
            item.add_marker("long")
    if not config.option.markexpr:
        apart = [item for item in items if item.get_closest_marker("long")]
        items[:] = [item for item in items if not item.get_closest_marker("long")]
        config.hook.pytest_deselected(items=apart)
    place = {CHECKOUT / "tests" / name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path, len(place)))


@pytest.fixture(scope="session", autouse=True)
def own_configuration(tmp_path_factory):
    """What the tests trust is no business of whoever runs them."""
    patch = pytest.MonkeyPatch()
    patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))
    yield
    patch.undo()


@pytest.fixture
def season(tmp_path):
    """An empty season with two regions."""
    season = make_season(tmp_path / "bench")
    yield season
    season.catalogue.close()


@pytest.fixture
def filled(season):
    """A season with fifteen frames on five days, not measured yet."""
    fill(season)
    return season


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The demo's season, made once by the command itself for all workers; returns its folder."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    folder, said = shared / "demo" / "season", shared / "demo-said"
    with (shared / "demo-lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not said.exists():
            began = time.monotonic()
            command = [sys.executable, "-m", "lapsekit", "demo", "--no-serve", "--folder", folder]
            done = subprocess.run(command, capture_output=True, text=True, cwd=CHECKOUT)
            assert done.returncode == 0, done.stderr
            said.write_text(f"{done.stdout}\ndemo took {time.monotonic() - began:.1f} s")
    print(said.read_text())
    return folder


@pytest.fixture
def small_disk(tmp_path):
    """Mounts a tmpfs of a given size (``"200k"``) and gives its folder; calling again resizes."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = False

    def sized(size):
        nonlocal mounted
        how = f"remount,size={size}" if mounted else f"size={size}"
        command = ["mount", "-t", "tmpfs", "-o", how, "tmpfs", str(disk)]
        if subprocess.run(command, capture_output=True, check=False).returncode:
            pytest.skip("mounting a tmpfs is not allowed here (it needs root)")
        mounted = True
        return disk

    yield sized
    if mounted:
        subprocess.run(["umount", str(disk)], check=True)


@pytest.fixture(scope="session")
def photographs():
    """Folder of the real photographs; tests that need it skip where it is not given."""
    given = os.environ.get("LAPSEKIT_PHOTOS")
    if not given or not Path(given, "field-wheat").is_dir():
        pytest.skip("LAPSEKIT_PHOTOS names no folder with field-wheat in it")
    return Path(given)


@pytest.fixture(scope="session")
def chromium():
    """Path of a Chromium; browser tests skip where there is none."""
    pytest.importorskip("playwright.sync_api")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.skip("no chromium on this machine; tests/run installs one")
    return path


@pytest.fixture(scope="session")
def browser(chromium):
    """One Chromium for all tests."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=CHROMIUM_ARGUMENTS)
        yield browser
        browser.close()
