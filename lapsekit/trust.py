"""Whether a season folder may act: run programs, send passwords, write outside of itself.

A season folder that came from somebody else can be looked at, measured and filmed, and does
nothing else before its new owner has looked at what it would do and said ``lapsekit trust``. What
waits for that: cameras of kind ``command``, cameras that are sent a password out of a file (any
file could be named, and any address), frames that lie elsewhere, publishing (with it rclone's
configuration, which may name programs), copies, thinning after them, alerts, followers' pictures
out of a mailbox or a folder, letters to followers, and templates of its own.

Trust is kept outside of the folder: in ``lapsekit/trusted.csv`` of the user's configuration
(``$XDG_CONFIG_HOME``, else ``~/.config``), or for every user of the machine, a systemd unit with
``ProtectHome=`` among them, in ``/etc/lapsekit/trusted.csv``, which only root may write. Each line
names a folder by its resolved path and by the hash of a secret that lies in it (`TOKEN_FILE`).

Why so. The path alone would trust whatever is unpacked there next. The inode beside it would not
help: ext4 gives the inode of a deleted folder to the next one, and FAT gives new ones at every
mount, so that a stick would lose its trust whenever it is plugged in. A secret that the received
folder cannot know does both. A hash of the settings would have to be renewed at every edit, which
teaches people to renew it without looking; the grower's own edits therefore need nothing. What is
unpacked *into* a trusted folder is an edit like any other: unpack elsewhere, and look first. The
secret is not copied or published with the season. Whoever gives the whole folder away, hidden files
included, and gets it back, should put it in another place.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
import secrets
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from lapsekit.errors import NotTrusted, SettingsError
from lapsekit.safely import write_safely
from lapsekit.when import utc_text

if TYPE_CHECKING:
    from lapsekit.settings import Camera, FramesTable, Settings
    from lapsekit.settings.tables import CopiesTable

TOKEN_FILE = ".trusted"
TEMPLATES = "site_template"
EVERYONE = Path("/etc/lapsekit/trusted.csv")
COLUMNS = ("folder", "secret_sha256", "since")


def own_record() -> Path:
    """The user's own list of trusted folders."""
    given = os.environ.get("XDG_CONFIG_HOME")
    return (Path(given) if given else Path("~/.config").expanduser()) / "lapsekit/trusted.csv"


def trust(folder: Path, for_everyone: bool = False) -> Path:
    """Trust a season folder.

    Parameters
    ----------
    folder : pathlib.Path
        A season folder; a new secret is written into it, unless it is trusted already: one that it
        came with is known to whoever made it.
    for_everyone : bool
        Write it into the machine's list, for which one has to be root.

    Returns
    -------
    pathlib.Path
        The list that holds it now.

    Raises
    ------
    SettingsError
        If the list or the secret cannot be written.
    """
    record = EVERYONE if for_everyone else own_record()
    token = _token(folder) if is_trusted(folder) else None
    try:
        if token is None:
            token = secrets.token_hex(16)
            _write_token(folder, token)
        others = [row for row in _rows(record) if row[0] != str(folder.resolve())]
        row = (str(folder.resolve()), _hash(token), utc_text(datetime.now(UTC)))
        _write(record, [*others, row])
    except OSError as error:
        raise _unwritable(record, error) from error
    return record


def take_back(folder: Path) -> list[Path]:
    """Trust a folder no longer; the lists it stood in. Raises as `trust` does."""
    changed = []
    for record in (own_record(), EVERYONE):
        rows = _rows(record)
        others = [row for row in rows if row[0] != str(folder.resolve())]
        if len(others) < len(rows):
            try:
                _write(record, others)
            except OSError as error:
                raise _unwritable(record, error) from error
            changed.append(record)
    return changed


def is_trusted(folder: Path) -> bool:
    """Whether a season folder may act."""
    token = _token(folder)
    if token is None:
        return False
    wanted = (str(folder.resolve()), _hash(token))
    return any(row[:2] == wanted for record in (own_record(), EVERYONE) for row in _rows(record))


def require_trust(folder: Path, what: str) -> None:
    """Refuse to act for a folder that is not trusted.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder.
    what : str
        What it wants to do, to stand after "wants to".

    Raises
    ------
    NotTrusted
        Says how to look at it, and how to trust it.
    """
    if not is_trusted(folder):
        raise NotTrusted(
            f"{folder} wants to {printable(what)}, and is not trusted to. Look at what it would "
            f"do with lapsekit trust --dry-run {folder}; if that is right, run lapsekit trust "
            f"{folder}"
        )


def require_for_camera(folder: Path, name: str, model: Camera) -> None:
    """Refuse a camera that runs a program or sends a password, unless its folder is trusted.

    Raises
    ------
    NotTrusted
        As `require_trust`.
    """
    wish = _wish(name, model)
    if wish is not None:
        require_trust(folder, wish)


def wishes(settings: Settings, folder: Path) -> list[str]:
    """What a season would do besides looking at its own frames, a phrase for each."""
    found = [_wish(name, model) for name, model in settings.cameras.items()]
    for name, model in settings.cameras.items():
        if model.kind in ("watched", "replay"):
            found.append(f'file pictures out of {model.folder} as those of camera "{name}"')
    if (folder / TEMPLATES).is_dir():
        found.append(f"build its site with templates of its own, in {TEMPLATES}")
    for verb, far in (("publish to", settings.publish), ("copy to", settings.copies)):
        if far.to is not None:
            found.append(f"{verb} {far.target} ({far.to})")
            if far.password_file is not None:
                found.append(f"send the password in {far.password_file} to {far.target}")
            if far.ssh_key is not None:
                found.append(f"use the SSH key {far.ssh_key} to {verb} {far.target}")
            if far.rclone_config is not None:
                found.append(f"use rclone's settings in {far.rclone_config}: they can run programs")
    if settings.frames.at is not None:
        found.append(reads_frames(settings.frames))
    found += _copies_wishes(settings.copies)
    if settings.canopy.model_file is not None:
        found.append(f"tell plants by the model in {settings.canopy.model_file}")
    if settings.site.earlier is not None:
        found.append(f"show curves and pictures of the season in {settings.site.earlier}")
    if settings.thinning.keep_all_days is not None:
        found.append(f"delete frames that are older than {settings.thinning.keep_all_days} days")
    if settings.alerts.to_file is not None:
        found.append(f"send alerts to the addresses in {settings.alerts.to_file}")
    found += _followers_wishes(settings)
    return [printable(wish) for wish in found if wish is not None]


def reads_frames(frames: FramesTable) -> str:
    """What a season whose frames lie elsewhere wants to do, as `require_trust` is told it."""
    access = f", with the access in {frames.access_file}" if frames.access_file else ""
    return f"read its frames at {frames.at}{access}"


def _copies_wishes(copies: CopiesTable) -> list[str]:
    """That a password is read, or that whoever looks after the far side can read the copies."""
    if copies.encrypt_with is not None:
        return [f"read a password from {copies.encrypt_with} for its copies"]
    return [f"copy to {copies.target} without encrypting"] if copies.to == "rclone" else []


def _followers_wishes(settings: Settings) -> list[str]:
    wanted, found = settings.followers, []
    if wanted.inbox is not None:
        found.append(f"move pictures out of {wanted.inbox} into folders of its own there")
    if wanted.face_model is not None:
        found.append(f"have a library read {wanted.face_model}, to find faces")
    if (mail := wanted.mail) is not None:
        found.append(f"send the password in {mail.password_file} to {mail.host}, and move its mail")
    if (answers := wanted.answers) is not None:
        found.append(f"send mails to followers by {answers.host}")
        if answers.password_file is not None:
            found.append(f"send the password in {answers.password_file} to {answers.host}")
    return found


def printable(text: str) -> str:
    """`text` without control characters, which could make a terminal show something else."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def _wish(name: str, model: Camera) -> str | None:
    if model.kind == "command":
        return f'run {" ".join(map(repr, model.command))} for camera "{name}"'
    password = getattr(model, "password_file", None)
    if password is not None:
        return f'send the password in {password} to {model.url} for camera "{name}"'
    return None


def _token(folder: Path) -> str | None:
    try:
        return (folder / TOKEN_FILE).read_text(encoding="ascii").strip() or None
    except (OSError, UnicodeDecodeError):
        return None


def _write_token(folder: Path, token: str) -> None:
    """Write the secret, for the folder's owner alone, who need not be root."""
    file = folder / TOKEN_FILE
    file.unlink(missing_ok=True)
    handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as out:
        out.write(f"{token}\n")
    if os.geteuid() == 0:
        owner = folder.stat()
        os.chown(file, owner.st_uid, owner.st_gid)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _rows(record: Path) -> list[tuple[str, ...]]:
    """Lines of a list; none of one that somebody else could have written."""
    try:
        about = record.stat()
        allowed = {0} if record == EVERYONE else {0, os.geteuid()}
        if about.st_uid not in allowed or about.st_mode & 0o022:
            return []
        text = record.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return []
    return list(_parsed(text))


def _parsed(text: str) -> Iterator[tuple[str, ...]]:
    for cells in csv.reader(io.StringIO(text, newline="")):
        if len(cells) == len(COLUMNS) and tuple(cells) != COLUMNS:
            yield tuple(cells)


def _write(record: Path, rows: list[tuple[str, ...]]) -> None:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([COLUMNS, *rows])
    record.parent.mkdir(parents=True, exist_ok=True)
    write_safely(record, out.getvalue().encode("utf-8", "surrogateescape"))
    record.chmod(0o644 if record == EVERYONE else 0o600)


def _unwritable(record: Path, error: OSError) -> SettingsError:
    where = error.filename or record
    return SettingsError(
        f"{where}: trust cannot be recorded ({error.strerror}); the list for every user of the "
        f"machine, {EVERYONE}, needs root"
    )
