"""A camera that gives a still picture under an address, with or without a password.

It is fetched in a process of its own, since only so does one time limit hold for everything: the
look-up of the name, a server that gives its answer byte by byte, passwords asked for, redirects.
"""

from __future__ import annotations

import http.client
import time
import urllib.error
import urllib.request
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from lapsekit.cameras import Shot
from lapsekit.cameras.apart import Note, take_apart
from lapsekit.cameras.running import MOST_BYTES
from lapsekit.errors import CameraError
from lapsekit.secrets import secret

if TYPE_CHECKING:
    from lapsekit import settings

_CHUNK_BYTES = 1 << 16
_LEAST_S = 0.1


class Http:
    """Fetches one picture; basic and digest authentication as the camera asks for it.

    Parameters
    ----------
    model : HttpCamera
    folder : pathlib.Path
        The season folder, which a password file may be named from.
    """

    def __init__(self, model: settings.HttpCamera, folder: Path):
        self._model = model
        self._folder = folder

    def take(self, now: datetime) -> Shot:
        """Fetch one picture; it counts as taken when it was asked for."""
        model = self._model
        wanted = model.model_dump(mode="json", include={"kind", "url", "user", "time_limit_s"})
        if model.user is not None:
            wanted["password"] = secret(model.password_file, self._folder, "password_file")
        late = _late(model.time_limit_s)
        return take_apart(wanted, _name(model.url), model.time_limit_s, now, late)


def _name(url: str) -> str:
    """Without what an address may carry behind its path: that may be secret."""
    return f"the camera at {url.split('?')[0]}"


def _late(time_limit_s: float) -> str:
    return (
        f"did not give a picture within {time_limit_s:g} s; check the network, and whether the "
        "address is that of a still picture and not of a stream"
    )


def read_http(wanted: dict, until: float, note: Note) -> bytes:
    """The picture under an address; a `lapsekit.cameras.apart.Reader`."""
    name = _name(wanted["url"])
    try:
        return _fetched(wanted, until, name)
    except urllib.error.HTTPError as error:
        error.close()
        told = f"{name} answered {error.code} {error.reason}"
        raise CameraError(told + _hint(error.code)) from error
    except (OSError, http.client.HTTPException, ValueError) as error:
        reason = getattr(error, "reason", None) or error
        if isinstance(reason, TimeoutError):
            raise CameraError(f"{name} {_late(wanted['time_limit_s'])}") from error
        raise CameraError(
            f"{name} cannot be reached ({reason}); check its power, the network and the address"
        ) from error


def _fetched(wanted: dict, until: float, name: str) -> bytes:
    """The picture; that the fetch as a whole ends in time is seen to from outside."""
    left = max(_LEAST_S, until - time.monotonic())
    with _opener(wanted).open(wanted["url"], timeout=left) as answer:
        parts, size = [], 0
        while part := answer.read1(_CHUNK_BYTES):
            parts.append(part)
            size += len(part)
            if time.monotonic() > until:
                raise TimeoutError
            if size > MOST_BYTES:
                raise CameraError(
                    f"{name} sent more than {MOST_BYTES >> 20} MB; name the address of a still "
                    "picture, not of a stream"
                )
        whole = answer.headers["Content-Length"]
    if whole is not None and size < int(whole):
        raise CameraError(f"{name} broke off after {size} of {whole} bytes; check the network")
    if not size:
        raise CameraError(f"{name} answered without a picture")
    return b"".join(parts)


def _opener(wanted: dict) -> urllib.request.OpenerDirector:
    if wanted.get("user") is None:
        return urllib.request.build_opener()
    known = urllib.request.HTTPPasswordMgrWithDefaultRealm()
    known.add_password(None, wanted["url"], wanted["user"], wanted["password"])
    return urllib.request.build_opener(_Digest(known), _Basic(known))


class _Closing:
    """Closes the answer that asked for a password, which urllib leaves open."""

    def http_error_401(self, request, answer, code, message, headers):
        """Answer with the password."""
        try:
            found = super().http_error_401(request, answer, code, message, headers)
        except BaseException:
            answer.close()
            raise
        if found is not None:
            answer.close()
        return found


class _Digest(_Closing, urllib.request.HTTPDigestAuthHandler):
    """RFC 7616."""


class _Basic(_Closing, urllib.request.HTTPBasicAuthHandler):
    """RFC 7617."""


def _hint(code: int) -> str:
    if code in (401, 403):
        return "; check user and password_file"
    return "; check the address, in a browser say"
