"""Stage: site folder -> web host, so that what readers can reach is whole at every moment."""

import hashlib
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.errors import PublishError
from lapsekit.followers.showing import note_sent
from lapsekit.places import Place, open_place
from lapsekit.places.trying import Tries, batches, most_bytes
from lapsekit.progress import Track, silent
from lapsekit.publishing import manifest
from lapsekit.publishing.looking import look
from lapsekit.safely import PART
from lapsekit.season import Season

_UNDER_WAY = b"under way\n"


@dataclass
class PublishReport:
    """What was sent where.

    Attributes
    ----------
    place : str
    sent, removed : list of str
    unchanged, size : int
        Files that were there already, as far as was looked; bytes of those sent.
    amiss : list of str
        Of those sent, files that lapsekit had put there as they are, and that were missing or
        others there.
    compared : bool
        Whether the content of those that stay was looked at, and not names and sizes alone.
    failed : list of str
        Attempts that failed before one that went well.
    overwritten : list of str
        Of those sent, files that somebody else had put there.
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
    overwritten: list[str] = field(default_factory=list)
    amiss: list[str] = field(default_factory=list)
    compared: bool = False


def publish(
    season: Season,
    *,
    dry_run: bool = False,
    replace: bool = False,
    verify: bool = False,
    track: Track = silent,
    wait: Callable[[float], None] = time.sleep,
    tell: Callable[[str], None] = lambda _: None,
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
    verify : bool
        Compare the content of what is there already, too; names and sizes are looked at anyway.
    track : Track
        Told about progress.
    wait : callable
        Waits between attempts, told how many seconds.
    tell : callable
        Told in words of an attempt that failed.

    Raises
    ------
    SettingsError
        If ``[publish]`` is missing or cannot be.
    NotTrusted
        If the season folder is not trusted.
    PublishError
        If there is no site, something else lies there, or all attempts failed; what readers can
        reach is whole then too, and the next publication goes on from there.
    """
    site = season.site
    if not (site / manifest.FRONT).is_file():
        where = "" if season.is_writable else ", where its season folder can be written to"
        raise PublishError(f"{site}: no site yet; lapsekit site builds it{where}")
    tries = Tries(wait, tell, _given_up)
    place = tries(lambda: open_place(season.settings.publish, season.folder))
    report = PublishReport(str(place), failed=tries.failed, caution=place.caution, compared=verify)
    here = hashes(site)
    own = manifest.Owner(season.own_name(make=not dry_run), season.settings.season.title)
    state = tries(lambda: place.read(manifest.STATE))
    is_told_whole = state == manifest.state_of(here, own) and not replace
    there = (
        dict(here)
        if is_told_whole
        else tries(lambda: _known(place, own, here, state == _UNDER_WAY, replace))
    )
    most = most_bytes(season.settings.publish)
    found = look(place, tries, site, _same(here, there), most if verify else None, track)
    there |= found.amiss
    report.amiss = sorted(found.amiss)
    plan = manifest.plan(here, there)
    report.unchanged = plan.unchanged
    if is_told_whole and plan.is_empty and found.is_listed:
        if not dry_run:
            note_sent(season)
        return report
    unknown = [name for name in plan.sent if name not in there]
    if replace:
        report.overwritten = [*tries(lambda: place.sizes(unknown))] if unknown else []
    else:
        tries(lambda: _require_free(place, unknown))
    report.sent, report.removed = plan.sent, [*plan.removed]
    report.size = sum((site / name).stat().st_size for name in plan.sent)
    if not dry_run:
        halves = {manifest.STATE, manifest.MANIFEST}
        if state == _UNDER_WAY:
            halves |= here.keys() | there.keys()
        tries(lambda: place.tidy(halves))
        parts = list(_batches(plan, site, most))
        _carry_out(_Far(place, own, tries), site, here, there, parts, plan.removed, track)
        note_sent(season)
    return report


def hashes(site: Path) -> dict[str, str]:
    """First 32 hexadecimal digits of the SHA-256 of every file of a site, by its path."""
    return {
        file.relative_to(site).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()[:32]
        for file in sorted(site.rglob("*"))
        if file.is_file() and not file.name.startswith(PART)
    }


def _same(here: dict[str, str], there: dict[str, str]) -> list[str]:
    """Files that are there as they are here, if what is told of them is true."""
    return [name for name, digest in here.items() if there.get(name) == digest]


def _known(
    place: Place, own: manifest.Owner, here: dict[str, str], was_cut_off: bool, replace: bool
) -> dict[str, str]:
    """What the list there says; nothing where there is none. With `replace`, nothing is sure."""
    content = place.read(manifest.MANIFEST)
    if content is None:
        if not replace and place.read(manifest.FRONT) is not None:
            raise PublishError(
                f"{place}: holds a front page that lapsekit did not put there; name an empty "
                "folder as publish.target, or give --replace"
            )
        return {}
    try:
        files, owner = manifest.unpacked(content, str(place))
    except manifest.UnreadableList:
        if not (replace or was_cut_off):  # cut off while the list itself was sent
            raise
        return dict.fromkeys(here, manifest.UNSURE)
    if owner.name != own.name and not replace:
        raise PublishError(
            f'{place}: holds the site of another season folder ("{owner.title}"); name another '
            "publish.target, or give --replace to put this one there"
        )
    return dict.fromkeys(files, manifest.UNSURE) if replace else files


def _require_free(place: Place, names: list[str]) -> None:
    """Refuse to overwrite what somebody else put there."""
    taken = [*place.sizes(names)] if names else []
    if taken:
        raise PublishError(
            f"{place}: holds {taken[0]}"
            + (f" and {len(taken) - 1} more files" if len(taken) > 1 else "")
            + ", which lapsekit did not put there; name an empty folder as publish.target, or give "
            "--replace"
        )


@dataclass(frozen=True)
class _Far:
    """The far side, with its list."""

    place: Place
    owner: manifest.Owner
    tries: Tries

    def note(self, folder: Path, name: str, content: bytes) -> None:
        """Put one of lapsekit's own two files there."""
        (folder / name).write_bytes(content)
        self.tries(lambda: self.place.send(folder, [name]))

    def list_files(self, folder: Path, files: dict[str, str]) -> None:
        """Put the list there."""
        self.note(folder, manifest.MANIFEST, manifest.packed(files, self.owner))


def _carry_out(
    far: _Far,
    site: Path,
    here: dict[str, str],
    there: dict[str, str],
    parts: list[tuple[str, ...]],
    removed: tuple[str, ...],
    track: Track,
) -> None:
    """Strike what will change, send batch by batch, remove, and write the list anew."""
    told = manifest.under_way(here, there)
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
        folder = Path(scratch)
        far.note(folder, manifest.STATE, _UNDER_WAY)
        far.list_files(folder, told)
        for batch in track(parts, len(parts), "sending"):
            far.tries(lambda batch=batch: far.place.send(site, batch))
            told |= {name: here[name] for name in batch}
            if batch is not parts[-1]:
                far.list_files(folder, told)
        if removed:
            far.tries(lambda: far.place.remove(removed))
        far.list_files(folder, here)
        far.note(folder, manifest.STATE, manifest.state_of(here, far.owner))


def _batches(plan: manifest.Plan, site: Path, most: float) -> Iterator[tuple[str, ...]]:
    """Files of one stage each."""
    for stage in plan.stages:
        yield from batches(stage, lambda name: (site / name).stat().st_size, most)


def _given_up(words: str) -> PublishError:
    return PublishError(f"{words}; what lies there is whole, and lapsekit publish goes on from it)")
