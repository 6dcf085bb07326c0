"""The far side of copies: whose they are, and how a file gets there without harm to another."""

import re
import tempfile
import uuid
from collections.abc import Callable, Sequence
from pathlib import Path

from lapsekit.copied import rewrite_copied
from lapsekit.copying import lists
from lapsekit.copying.erasing import is_followers
from lapsekit.errors import CopyError, SettingsError, TransferError
from lapsekit.places import Place
from lapsekit.places.trying import BATCH_BYTES, Tries, batches
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.settings import CopiesTable, Settings

MARKER = "copies-of.txt"
"""At the far side: the season's own name, and one of this place's own. The same line lies in the
season folder as `COPIED_TO`, so that copied.csv is known to speak of this place and no other."""

COPIED_TO = "copied-to.txt"

_MARKER = re.compile(r"([0-9a-f]{32}) ([0-9a-f]{32})\n")
_LIST_BYTES = 30_000
_NO_MATTER = re.compile(r"\.|lost\+found/?$|System Volume Information/?$")


def given_up(words: str) -> CopyError:
    """After the last attempt."""
    return CopyError(f"{words}; what was copied is whole, and lapsekit copy goes on from it)")


def require_apart(settings: Settings, season_folder: Path) -> None:
    """Refuse to copy to where readers of the site could find frames and settings."""
    if settings.publish.to is None or settings.copies.to is None:
        return
    ours, public = (_where(t, season_folder) for t in (settings.copies, settings.publish))
    if ours.startswith(public) or public.startswith(ours):
        raise SettingsError(
            f"copies.target {settings.copies.target}: there the site is published, and everybody "
            "could read the copies; name another place"
        )


def _where(model: CopiesTable, season_folder: Path) -> str:
    target = str(model.target)
    if model.to == "folder" or target.startswith("/"):
        target = str((season_folder / Path(target).expanduser()).resolve())
    return target if target.endswith(":") else target.rstrip("/") + "/"


def marker_at(place: Place, tries: Tries, model: CopiesTable) -> tuple[str, str] | None:
    """The season that the copies there are of, and the place's own name; None where nothing is.

    Raises
    ------
    CopyError
        If something else lies there, or the password does not open it.
    """
    content = tries(lambda: place.read(MARKER))
    if content is None:
        strange = [name for name in tries(place.top) if not _NO_MATTER.match(name)]
        if strange and model.encrypt_with:
            raise CopyError(
                f"{place}: the password in {model.encrypt_with} does not open what lies there, or "
                "it is none of lapsekit's; check the password, or name an empty place"
            )
        if strange:
            raise CopyError(
                f"{place}: holds {strange[0]}, which lapsekit did not copy there; name an empty "
                "folder as copies.target (if the copies are encrypted, encrypt_with is missing)"
            )
        return None
    found = _MARKER.fullmatch(content.decode(errors="replace"))
    if found is None:
        raise CopyError(f"{place}: {MARKER} is damaged; delete it there, and copy with --new-place")
    return found[1], found[2]


def arrive(season: Season, place: Place, tries: Tries, new_place: bool, dry_run: bool) -> bool:
    """Make sure that the copies there are this season's; whether copied.csv speaks of them.

    Raises
    ------
    CopyError
        If they are not, or if there were some elsewhere and none are here.
    """
    own, local = season.own_name(make=not dry_run), season.folder / COPIED_TO
    noted = local.read_text() if local.exists() else None
    there = marker_at(place, tries, season.settings.copies)
    if there is None and noted is not None and not new_place:
        raise CopyError(
            f"{place}: holds none of the copies that {local} speaks of. Is the disk mounted? If "
            "this is a new place, run lapsekit copy --new-place, which copies everything again"
        )
    if there is not None and there[0] != own:
        raise CopyError(
            f"{place}: holds the copies of another season folder; name another copies.target"
        )
    line = f"{own} {there[1] if there else uuid.uuid4().hex}\n"
    if dry_run:
        return noted == line
    if there is None:
        _send_one(place, tries, MARKER, line.encode())
    if noted != line:
        rewrite_copied(season.folder, [])
        write_safely(local, line.encode())
    return noted == line


def _send_one(place: Place, tries: Tries, name: str, content: bytes) -> None:
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
        target = Path(scratch, name)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
        tries(lambda: put(place, Path(scratch), [name], ""))


def read_lists(place: Place, tries: Tries) -> lists.Found:
    """What the lists there say."""
    names = tries(lambda: place.listed(lists.LISTS))
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
        came = Path(scratch)
        for batch in batches(names, lambda _: _LIST_BYTES, BATCH_BYTES):
            tries(lambda batch=batch: place.fetch(batch, came))
        files = {name: came / name for name in names}
        return lists.gathered(
            {name: file.read_bytes() if file.is_file() else None for name, file in files.items()}
        )


def send_list(place: Place, tries: Tries, name: str, content: bytes) -> None:
    """Put a list there."""
    _send_one(place, tries, name, content)


def put(
    place: Place,
    root: Path,
    names: Sequence[str],
    stamp: str,
    on_kept: Callable[[str], None] = lambda _: None,
) -> list[str]:
    """Make files there equal to these, and make sure that they are.

    Parameters
    ----------
    place : Place
    root : pathlib.Path
        The folder that `names` are paths in.
    names : sequence of str
    stamp : str
        What is replaced is kept in ``before/STAMP``, unless the new content begins with the old,
        or is about followers, whose data are kept no longer than they have to be.
    on_kept : callable
        Told the name of each file that was kept so.

    Returns
    -------
    list of str
        Those that had to be sent.

    Raises
    ------
    TransferError
        If one did not arrive as it is.
    """
    present = list(place.sizes(names))
    differing = place.differing(root, present) if present else []
    if own := [name for name in differing if not is_followers(name)]:
        _keep(place, root, own, stamp, on_kept)
    missing = set(names) - set(present)
    wanted = [name for name in names if name in missing or name in differing]
    if wanted:
        place.send(root, wanted)
        if wrong := place.differing(root, wanted):
            raise TransferError(f"{place}: {wrong[0]} did not arrive as it was sent")
    return wanted


def _keep(
    place: Place, root: Path, names: Sequence[str], stamp: str, on_kept: Callable[[str], None]
) -> None:
    """Keep what is about to be replaced: an emptied diary must not replace the only good one."""
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
        old, again = Path(scratch, "old"), Path(scratch, "again")
        old.mkdir()
        place.fetch(names, old)
        kept = []
        for name in names:
            if not (old / name).is_file() or _continues(root / name, old / name):
                continue
            kept.append(f"{lists.BEFORE}/{stamp}/{name}")
            (again / kept[-1]).parent.mkdir(parents=True, exist_ok=True)
            (old / name).rename(again / kept[-1])
        if kept:
            place.send(again, kept)
            if wrong := place.differing(again, kept):
                raise TransferError(f"{place}: {wrong[0]} did not arrive as it was sent")
    for name in kept:
        on_kept(name)


def _continues(new: Path, old: Path) -> bool:
    return new.read_bytes().startswith(old.read_bytes())
