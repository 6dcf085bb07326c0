"""Stage: what somebody who came by would look at, without coming by.

Nothing is changed, and nothing is filed. A finding is fine, to be watched, or wrong; what cannot be
looked at on this machine is left out. A part that fails says so, and the others are looked at.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from lapsekit.checking.alerts import channel
from lapsekit.checking.apart import kept_apart
from lapsekit.checking.asking import cameras
from lapsekit.checking.far import copies_place, network, publishing
from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look, Part, Run
from lapsekit.checking.followers import mailbox, received
from lapsekit.checking.frames import frame_files, last_frames, returned, silent
from lapsekit.checking.machine import chip, clock, power, temperature
from lapsekit.checking.pictures import dew, left_out, moved, scale, sharpness, view
from lapsekit.checking.room import disk
from lapsekit.checking.work import copies, diary, film, morning
from lapsekit.errors import CatalogueError, LapsekitError
from lapsekit.season import Season

__all__ = ["FINE", "WATCH", "WRONG", "Finding", "Standing", "check", "of_season", "standing"]

VISIT: tuple[Part, ...] = (
    cameras,
    frame_files,
    last_frames,
    returned,
    kept_apart,
    left_out,
    sharpness,
    dew,
    view,
    scale,
    disk,
    diary,
    morning,
    film,
    received,
    network,
    publishing,
    copies,
    copies_place,
    mailbox,
    channel,
    clock,
    chip,
    power,
    temperature,
)
"""What `check` looks at."""

ASKING: tuple[Part, ...] = (cameras, network, publishing, copies_place)
"""Those of them that ask a camera or a far place, which takes as long as they take."""

OF_SEASON: tuple[Part, ...] = (
    frame_files,
    last_frames,
    returned,
    kept_apart,
    left_out,
    dew,
    view,
    diary,
    morning,
    copies,
)
"""What can be told of a season wherever one is: nothing of the machine at hand, and nothing far."""

HOURLY: tuple[Part, ...] = (
    silent,
    kept_apart,
    left_out,
    dew,
    moved,
    disk,
    morning,
    copies,
    mailbox,
    clock,
    power,
    temperature,
)
"""What alerts look at: nothing that asks a camera or a far place, and nothing heavy."""


def check(season: Season, run: Run | None = None, *, asks: bool = True) -> list[Finding]:
    """Look at everything.

    Parameters
    ----------
    season : Season
    run : callable, optional
        Runs a program and gives what it says, or None where it is not there; the machine's own
        by default.
    asks : bool
        Whether cameras and far places are asked too.

    Returns
    -------
    list of Finding
    """
    parts = [part for part in VISIT if asks or part not in ASKING]
    return _looked(parts, Look(season, run))


def of_season(season: Season) -> list[Finding]:
    """Look at what is the season's own, from any machine; quick enough for hundreds of them."""
    return _looked(OF_SEASON, Look(season))


@dataclass(frozen=True)
class Standing:
    """What somebody has to be called for; with `is_blind` some parts could not be looked at."""

    findings: list[Finding]
    is_blind: bool


def standing(season: Season, run: Run | None = None) -> Standing:
    """What somebody has to be called for, now.

    Light enough for every hour on a small board: no camera and no far place is asked. Parameters
    as for `check`.
    """
    found = _looked(HOURLY, Look(season, run))
    called = [finding for finding in found if finding.how == WRONG]
    return Standing(called, any(isinstance(f, _Failed) for f in found))


class _Failed(Finding):
    """A part could not be looked at."""


def _looked(parts: Iterable[Part], look: Look) -> list[Finding]:
    """What the parts find; one fault that several of them meet is told once."""
    return list(dict.fromkeys(found for part in parts for found in _tried(part, look)))


def _tried(part: Part, look: Look) -> Iterator[Finding]:
    try:
        yield from part(look)
    except CatalogueError as error:
        yield _Failed("catalogue", WRONG, str(error))
    except LapsekitError as error:
        yield _Failed(part.__name__, WRONG, str(error))
    except OSError as error:
        yield _Failed("files", WRONG, f"{error.filename or look.season.folder}: {error.strerror}")
