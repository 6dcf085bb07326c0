"""Stage: site folder -> web host, so that what readers can reach is whole at every moment."""

import hashlib
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from lapsekit.errors import PublishError, TransferError
from lapsekit.progress import Track, silent
from lapsekit.publishing import manifest
from lapsekit.publishing.places import Place, open_place
from lapsekit.safely import PART
from lapsekit.season import Season

ATTEMPTS, FIRST_WAIT_S, WAIT_FACTOR = 4, 5.0, 4.0
"""A poor line is tried again after 5, 20 and 80 seconds."""

BATCH_FILES = 200
"""Files sent between two updates of the list, so that a publication that was cut off goes on."""

_UNDER_WAY = b"under way\n"

T = TypeVar("T")


@dataclass
class PublishReport:
    """What was sent where.

    Attributes
    ----------
    place : str
    sent, removed : list of str
    unchanged, size : int
        Files that were there already; bytes of those sent.
    failed : list of str
        Attempts that failed before one that went well.
    caution : str
        What readers may meet while files are sent; empty where nothing.
    """

    place: str
    sent: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    unchanged: int = 0
    size: int = 0
    failed: list[str] = field(default_factory=list)
    caution: str = ""


def publish(
    season: Season,
    *,
    dry_run: bool = False,
    replace: bool = False,
    track: Track = silent,
    wait: Callable[[float], None] = time.sleep,
) -> PublishReport:
    """Bring the far side into step with the season's site folder.

    Parameters
    ----------
    season : Season
        The caller holds its stage lock and has built its site.
    dry_run : bool
        Find out what would be done, and do nothing.
    replace : bool
        Go on where the far side holds a front page that lapsekit did not put there.
    track : Track
        Told about progress.
    wait : callable
        Waits between attempts, told how many seconds.

    Raises
    ------
    SettingsError
        If ``[publish]`` is missing or cannot be.
    PublishError
        If there is no site, something else lies there, or all attempts failed; what readers can
        reach is whole then too, and the next publication goes on from there.
    """
    site = season.site
    if not (site / manifest.FRONT).is_file():
        raise PublishError(f"{site}: no site yet; lapsekit site builds it")
    place = open_place(season.settings.publish, season.folder)
    tries = _Tries(wait)
    report = PublishReport(str(place), failed=tries.failed, caution=place.caution)
    here = hashes(site)
    state = tries(lambda: place.read(manifest.STATE))
    if state == manifest.state_of(here):
        report.unchanged = len(here)
        return report
    there = tries(lambda: _known(place, replace))
    plan = manifest.plan(here, there)
    report.sent, report.removed, report.unchanged = plan.sent, [*plan.removed], plan.unchanged
    report.size = sum((site / name).stat().st_size for name in plan.sent)
    if not dry_run:
        halves = {manifest.STATE, manifest.MANIFEST}
        if state == _UNDER_WAY:
            halves |= here.keys() | there.keys()
        tries(lambda: place.tidy(halves))
        _carry_out(place, site, here, there, plan, tries, track)
    return report


def hashes(site: Path) -> dict[str, str]:
    """First 32 hexadecimal digits of the SHA-256 of every file of a site, by its path."""
    return {
        file.relative_to(site).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()[:32]
        for file in sorted(site.rglob("*"))
        if file.is_file() and not file.name.startswith(PART)
    }


def _known(place: Place, replace: bool) -> dict[str, str]:
    """What the list there says; nothing where there is none."""
    content = place.read(manifest.MANIFEST)
    if content is not None:
        try:
            return manifest.unpacked(content, str(place))
        except PublishError:
            if not replace:
                raise
            return {}
    if not replace and place.read(manifest.FRONT) is not None:
        raise PublishError(
            f"{place}: holds a front page that lapsekit did not put there; name an empty folder "
            "as publish.target, or give --replace"
        )
    return {}


def _carry_out(
    place: Place,
    site: Path,
    here: dict[str, str],
    there: dict[str, str],
    plan: manifest.Plan,
    tries: "_Tries",
    track: Track,
) -> None:
    """Strike what will change, send stage by stage, remove, and write the list anew."""
    told = manifest.under_way(here, there)
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
        folder = Path(scratch)

        def note(name: str, content: bytes) -> None:
            (folder / name).write_bytes(content)
            tries(lambda: place.send(folder, [name]))

        note(manifest.STATE, _UNDER_WAY)
        note(manifest.MANIFEST, manifest.packed(told))
        batches = list(_batches(plan))
        for batch in track(batches, len(batches), "sending"):
            tries(lambda batch=batch: place.send(site, batch))
            told |= {name: here[name] for name in batch}
            if batch is not batches[-1]:
                note(manifest.MANIFEST, manifest.packed(told))
        if plan.removed:
            tries(lambda: place.remove(plan.removed))
        note(manifest.MANIFEST, manifest.packed(here))
        note(manifest.STATE, manifest.state_of(here))


def _batches(plan: manifest.Plan) -> Iterator[tuple[str, ...]]:
    for stage in plan.stages:
        for start in range(0, len(stage), BATCH_FILES):
            yield stage[start : start + BATCH_FILES]


class _Tries:
    """Calls something again, after longer and longer waits, where it failed on the way."""

    def __init__(self, wait: Callable[[float], None]):
        self.failed: list[str] = []
        self._wait = wait

    def __call__(self, do: Callable[[], T]) -> T:
        pause = FIRST_WAIT_S
        for attempt in range(1, ATTEMPTS + 1):
            try:
                return do()
            except TransferError as error:
                self.failed.append(str(error))
                if attempt == ATTEMPTS:
                    raise PublishError(
                        f"{error} ({ATTEMPTS} attempts; what lies there is whole, and lapsekit "
                        "publish goes on from it)"
                    ) from error
                self._wait(pause)
                pause *= WAIT_FACTOR
        raise AssertionError("unreachable")
