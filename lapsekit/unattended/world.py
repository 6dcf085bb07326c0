"""What the unattended work is done with: a real machine and its time, or simulated ones."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from lapsekit.cameras import Camera
from lapsekit.season import Season
from lapsekit.unattended.clock import Machine, SteadyClock
from lapsekit.unattended.speaking import Tell


class Later(Protocol):
    """Wakes a job once, at an instant of the season's clock; an earlier one of its name is void."""

    def __call__(self, name: str, at: datetime, job: Callable[[], None]) -> None:
        """Remember it."""
        ...


@dataclass(frozen=True, eq=False)
class World:
    """All that the unattended work deals with.

    Parameters
    ----------
    season : Season
        Its clock is `clock`.
    cameras : mapping of str to Camera
        Those that take pictures.
    clock : SteadyClock
    machine : Machine
    tell : Tell
    later : Later
    """

    season: Season
    cameras: Mapping[str, Camera]
    clock: SteadyClock
    machine: Machine
    tell: Tell
    later: Later

    def dated_by_asking(self) -> list[str]:
        """Cameras whose pictures carry no date of their own."""
        models = self.season.settings.cameras
        return [name for name in self.cameras if models[name].kind != "watched"]
