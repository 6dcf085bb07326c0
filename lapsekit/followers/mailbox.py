"""A mailbox over IMAP, by imap-tools, which is imported here alone.

Nothing is deleted: a message that was read is moved. A message is fetched without being marked.
"""

import imaplib
import re
import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from lapsekit.errors import MissingExtra, SettingsError, TransferError
from lapsekit.plain import one_line

if TYPE_CHECKING:
    from imap_tools import BaseMailBox

    from lapsekit.settings.followers import MailTable

PORTS = {"tls": 993, "starttls": 143, "none": 143}


@dataclass(frozen=True)
class Waiting:
    """A message that lies in the folder: its UID, and its size in bytes."""

    uid: str
    size: int


class Mailbox:
    """An open mailbox with its folder selected.

    Attributes
    ----------
    validity : str
        With another one, UIDs are others' (UIDVALIDITY).
    can_move : bool
        Whether the server moves messages (RFC 6851).
    """

    def __init__(self, box: "BaseMailBox", table: "MailTable"):
        self._box = box
        self._table = table
        self._has_done = False
        self.can_move = "MOVE" in box.client.capabilities
        told = box.client.response("UIDVALIDITY")[1]
        self.validity = told[0].decode() if told and told[0] else ""

    def waiting(self) -> list[Waiting]:
        """Messages of the folder, the oldest first."""
        found = []
        with _told(self._table):
            uids = self._box.uids("ALL", charset=None)
            for at in range(0, len(uids), 200):
                told = self._asked(",".join(uids[at : at + 200]), "(UID RFC822.SIZE)")
                found += [Waiting(*each) for each in map(_uid_and_size, told) if each]
        return sorted(found, key=lambda each: int(each.uid))

    def fetch(self, uid: str, headers_only: bool = False) -> tuple[bytes, datetime] | None:
        """A message's bytes and when the server took it; None where it is gone meanwhile."""
        what = "BODY.PEEK[HEADER]" if headers_only else "BODY.PEEK[]"
        with _told(self._table):
            told = self._asked(uid, f"({what} INTERNALDATE)")
        found = next((each for each in told if isinstance(each, tuple)), None)
        if found is None:
            return None
        about = found[0] + b"".join(each for each in told if isinstance(each, bytes))
        return found[1], _came_at(about)

    def put_away(self, uid: str) -> None:
        """Move a message to where those go that were read; copy it where the server cannot move."""
        with _told(self._table):
            self._require_done()
            if self.can_move:
                self._box.move(uid, self._table.done)
            else:
                self._box.copy(uid, self._table.done)

    def _require_done(self) -> None:
        done = self._table.done
        if not self._has_done and not self._box.folder.exists(done):
            self._box.folder.create(done)
            with suppress(Exception):  # only so that mail programs show it
                self._box.folder.subscribe(done, True)
        self._has_done = True

    def _asked(self, uids: str, what: str) -> list[Any]:
        kind, told = self._box.client.uid("FETCH", uids, what)
        if kind != "OK":
            raise imaplib.IMAP4.error(f"FETCH was answered {kind}")
        return [each for each in told if each is not None]


@contextmanager
def open_mailbox(table: "MailTable", password: str) -> Iterator[Mailbox]:
    """Log in, and select the folder.

    Parameters
    ----------
    table : MailTable
    password : str
        Stands in no message.

    Raises
    ------
    MissingExtra
        If imap-tools is not installed.
    SettingsError
        If the server refuses user or password, its certificate is not good, or there is no such
        folder.
    TransferError
        If it cannot be reached, does not answer in time, or breaks off: worth another attempt.
    """
    with _told(table):
        box = _connected(table)()
    try:
        with _told(table):
            log_in = box.login if password.isascii() and table.user.isascii() else box.login_utf8
            log_in(table.user, password, initial_folder=None)
            # what a server can is told only after the login, and nobody else asks again
            box.client.capabilities = tuple(box.client.capability()[1][-1].decode().upper().split())
            box.folder.set(table.folder)
            mailbox = Mailbox(box, table)
        yield mailbox
    finally:
        with suppress(Exception):  # it may be gone; what was done is done
            box.logout()


def _connected(table: "MailTable") -> Callable[[], "BaseMailBox"]:
    try:
        from imap_tools import MailBox, MailBoxStartTls, MailBoxUnencrypted
    except ImportError as error:
        raise MissingExtra("reading followers' mail", "followers") from error
    where = {
        "host": table.host.strip("[]"),
        "port": table.port or PORTS[table.security],
        "timeout": table.time_limit_s,
    }
    if table.security == "none":
        return lambda: MailBoxUnencrypted(**where)
    kind = MailBox if table.security == "tls" else MailBoxStartTls
    return lambda: kind(**where, ssl_context=ssl.create_default_context())


@contextmanager
def _told(table: "MailTable") -> Iterator[None]:
    """Faults of network and server in plain words; a password never stands in them."""
    try:
        from imap_tools.errors import (
            ImapToolsError,
            MailboxFolderCreateError,
            MailboxFolderSelectError,
            MailboxLoginError,
        )
    except ImportError as error:
        raise MissingExtra("reading followers' mail", "followers") from error
    where = f"followers.mail: {table.host}"
    try:
        yield
    except MailboxLoginError as error:
        raise SettingsError(
            f"{where} does not let {table.user} in; check user, and the first line of "
            f"password_file {table.password_file}"
        ) from error
    except (MailboxFolderSelectError, MailboxFolderCreateError) as error:
        raise SettingsError(
            f'{where}: folder "{table.folder}" cannot be opened or "{table.done}" not be made; '
            "check folder and done (some servers want names like INBOX.Name)"
        ) from error
    except ssl.SSLCertVerificationError as error:
        raise SettingsError(
            f"{where}: its certificate is not good ({error.verify_message}); check host, and the "
            "date of this machine. Nothing was sent"
        ) from error
    except (imaplib.IMAP4.error, ImapToolsError) as error:
        raise TransferError(
            f"{where} broke off ({one_line(str(error), 150)}); it is tried again"
        ) from error
    except OSError as error:
        raise TransferError(
            f"{where} cannot be reached ({error.strerror or error}); check network, host and "
            "port. It is tried again"
        ) from error


def _uid_and_size(told: Any) -> tuple[str, int] | None:
    line = told[0] if isinstance(told, tuple) else told
    uid, size = re.search(rb"\bUID (\d+)", line), re.search(rb"RFC822\.SIZE (\d+)", line)
    return (uid[1].decode(), int(size[1])) if uid and size else None


def _came_at(about: bytes) -> datetime:
    """When the server took a message, UTC; now where it does not say."""
    found = imaplib.Internaldate2tuple(about)
    if found is None:
        return datetime.now(UTC)
    return datetime.fromtimestamp(time.mktime(found), UTC)
