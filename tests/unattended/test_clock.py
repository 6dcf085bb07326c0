"""What time it is on a machine that starts without one, and whose clock jumps."""

import os
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.unattended import clock as clocks
from lapsekit.unattended.clock import SteadyClock, ThisMachine, boot_moment
from tests.unattended.simulated import SimulatedMachine

START = datetime(2031, 4, 1, 10, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def told():
    return []


def machine_at(wrong_by=timedelta(0), has_network=True):
    machine = SimulatedMachine(START)
    machine.wrong_by, machine.has_network = wrong_by, has_network
    return machine


def test_the_time_is_not_known_before_a_network_gave_it_and_right_for_what_was_before(told):
    machine = machine_at(-3 * DAY, has_network=False)
    clock = SteadyClock(machine, told.append)
    assert not clock.is_known and clock() == START - 3 * DAY
    machine.now += HOUR
    taken = machine.since_boot()
    machine.now += 5 * HOUR
    assert not clock.look()
    machine.has_network = True
    assert clock.look() and clock.is_known
    assert clock() == machine.now
    assert boot_moment(clock, machine, taken) == START + HOUR


@pytest.mark.parametrize("jump", [DAY, -DAY])
def test_a_jump_that_no_network_stands_behind_moves_nothing_and_is_told_once(told, jump):
    machine = machine_at()
    clock = SteadyClock(machine, told.append)
    machine.has_network, machine.wrong_by = False, jump
    machine.now += HOUR
    assert clock.look() and not clock.look()
    assert clock() == machine.now == START + HOUR
    assert clock.skew == jump
    assert sum("jumped by" in line for line in told) == 1
    machine.wrong_by = timedelta(0)
    clock.look()
    assert clock.skew == timedelta(0) and clock() == machine.now


def test_a_network_that_sets_the_clock_is_followed(told):
    machine = machine_at()
    clock = SteadyClock(machine, told.append)
    machine._on_since += 2 * HOUR  # as if the clock had been two hours behind until now
    assert clock.look()
    assert clock() == machine.now
    assert "was set by" in told[-1]


def test_a_clock_that_runs_a_little_fast_is_followed_without_a_word(told):
    machine = machine_at()
    clock = SteadyClock(machine, told.append)
    machine.has_network = False
    for second in range(1, 200):
        machine.wrong_by = timedelta(seconds=second)
        assert not clock.look()
    assert clock.skew == timedelta(0) and len(told) == 1


def test_a_board_needs_a_time_server_or_a_clock_chip_that_agrees(tmp_path, monkeypatch):
    monkeypatch.setattr(clocks, "_CHIPS", tmp_path / "rtc")
    monkeypatch.setattr(clocks, "_kernel_is_synchronised", lambda: False)
    monkeypatch.setattr(clocks, "_BOARD", tmp_path / "no-board")
    assert ThisMachine(True).is_set()
    monkeypatch.setattr(clocks, "_BOARD", tmp_path)
    assert not ThisMachine(True).is_set() and ThisMachine(False).is_set()
    chip = tmp_path / "rtc" / "rtc0" / "since_epoch"
    chip.parent.mkdir(parents=True)
    for says, is_set in ((86_400, False), (int(datetime.now(UTC).timestamp()), True)):
        chip.write_text(f"{says}\n")
        assert ThisMachine(True).is_set() is is_set


def test_the_kernel_answers_the_same_as_its_own_tools():
    """A machine without a time server is not called synchronised, and the call does not fail."""
    assert clocks._kernel_is_synchronised() in (True, False, None)
    machine = ThisMachine(False)
    first = machine.since_boot()
    assert timedelta(0) < first <= machine.since_boot()
    assert machine.boot_id


def test_what_a_time_server_did_before_a_jump_proves_nothing(tmp_path, monkeypatch):
    """Where the kernel may not be asked, systemd's note counts if it is newer than the jump."""
    monkeypatch.setattr(clocks, "_kernel_is_synchronised", lambda: None)
    monkeypatch.setattr(clocks, "_CHIPS", tmp_path / "rtc")
    monkeypatch.setattr(clocks, "_TIMESYNC", tmp_path / "synchronized")
    machine, now = ThisMachine(True), datetime.now(UTC).timestamp()
    assert not machine.is_vouched_for(HOUR)
    for touched, since, is_vouched in (
        (now - 1, timedelta(0), True),  # set by the server just now
        (now - 300, timedelta(0), False),  # it set the clock before the jump
        (now - 300, timedelta(minutes=10), True),  # and here after it
        (now - 86_400, HOUR, False),  # the clock jumped ahead by a day
        (now + 86_400, HOUR, False),  # and here back
    ):
        (tmp_path / "synchronized").touch()
        os.utime(tmp_path / "synchronized", (touched, touched))
        assert machine.is_vouched_for(since) is is_vouched, (touched - now, since)


def test_a_clock_chip_vouches_for_a_jump_only_where_it_agrees_to_the_minute(tmp_path, monkeypatch):
    monkeypatch.setattr(clocks, "_kernel_is_synchronised", lambda: False)
    monkeypatch.setattr(clocks, "_CHIPS", tmp_path / "rtc")
    chip = tmp_path / "rtc" / "rtc0" / "since_epoch"
    chip.parent.mkdir(parents=True)
    for away_s, is_vouched in ((20, True), (20 * 3600, False)):
        chip.write_text(f"{int(datetime.now(UTC).timestamp()) - away_s}\n")
        assert ThisMachine(True).is_vouched_for(timedelta(0)) is is_vouched


def test_a_jump_that_is_vouched_for_later_makes_everybody_think_again(told):
    class Machine(SimulatedMachine):
        vouched = False

        def is_vouched_for(self, _):
            return self.vouched

    machine = Machine(START)
    clock = SteadyClock(machine, told.append)
    machine.has_network, machine.wrong_by = False, DAY
    assert clock.look() and not clock.look()
    machine.vouched = True
    assert clock.look() and not clock.look()
    assert clock() == START + DAY
