"""The systemd unit: it can be read, exposes little, and names commands and settings that exist."""

import re
import shutil
import subprocess

import pytest

from lapsekit.resources import shared_folder

MOST_EXPOSED = 2.0


@pytest.fixture
def unit():
    return shared_folder("config") / "lapsekit.service"


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd-analyze here")
def test_the_unit_exposes_little(unit):
    command = ["systemd-analyze", "security", "--offline=yes", "--no-pager", str(unit)]
    said = subprocess.run(command, capture_output=True, text=True, check=False)
    score = re.search(r"Overall exposure level for \S+: ([\d.]+)", said.stdout)
    assert score, said.stderr
    assert float(score[1]) <= MOST_EXPOSED
    assert "Unknown" not in said.stderr


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd-analyze here")
def test_the_unit_can_be_let_write_to_a_folder_outside_of_the_season(unit, tmp_path):
    """Its lines for that are comments; with them it is read as well, and exposes no more."""
    text, lines = re.subn(r"(?m)^# (ReadWritePaths=)", r"\1", unit.read_text())
    assert lines == 2 and "ProtectSystem=strict" in text
    (tmp_path / unit.name).write_text(text)
    for options in (["verify"], ["security", "--offline=yes"]):
        command = ["systemd-analyze", *options, "--no-pager", str(tmp_path / unit.name)]
        said = subprocess.run(command, capture_output=True, text=True, check=False)
        assert not re.search(r"Unknown|ReadWritePaths|relative|not absolute", said.stderr)
    assert float(re.search(r"level for \S+: ([\d.]+)", said.stdout)[1]) <= MOST_EXPOSED


def test_the_settings_say_that_a_folder_has_to_be_let_be_written_to(unit):
    text = (unit.parent / "season.toml").read_text()
    for table in ("publish", "copies"):
        body = text.split(f"\n[{table}]")[1].split("\n[")[0]
        assert "ReadWritePaths=" in body and unit.name in body


def test_the_watchdog_waits_longer_than_the_process_between_two_answers(unit):
    from lapsekit.unattended.process import LOOK_EVERY_S

    seconds = int(re.search(r"(?m)^WatchdogSec=(\d+)$", unit.read_text())[1])
    assert seconds >= 10 * LOOK_EVERY_S


def test_where_the_kernel_may_not_be_asked_systemds_own_note_says_whether_the_clock_is_set(
    tmp_path, monkeypatch
):
    from lapsekit.unattended import clock

    class Forbidden:
        @staticmethod
        def adjtimex(_):
            return -1

    monkeypatch.setattr(clock.ctypes, "CDLL", lambda *_, **__: Forbidden)
    monkeypatch.setattr(clock, "_TIMESYNC", tmp_path / "synchronized")
    monkeypatch.setattr(clock, "_BOARD", tmp_path)
    monkeypatch.setattr(clock, "_CHIPS", tmp_path)
    assert not clock.ThisMachine(True).is_set()
    (tmp_path / "synchronized").touch()
    assert clock.ThisMachine(True).is_set()
