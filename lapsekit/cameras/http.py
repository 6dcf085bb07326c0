"""A camera that gives a still picture under an address, with or without a password."""

import http.client
import time
import urllib.error
import urllib.request
from datetime import datetime
from pathlib import Path

from lapsekit import settings
from lapsekit.cameras import Shot
from lapsekit.errors import CameraError
from lapsekit.secrets import secret

MOST_BYTES = 64 << 20
"""No still picture is larger; a stream of pictures would never end."""

_CHUNK_BYTES = 1 << 16


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
        try:
            return Shot(self._fetched(), now)
        except urllib.error.HTTPError as error:
            error.close()
            told = f"{self._name} answered {error.code} {error.reason}"
            raise CameraError(told + _hint(error.code)) from error
        except TimeoutError as error:
            raise CameraError(self._late) from error
        except (OSError, http.client.HTTPException, ValueError) as error:
            reason = getattr(error, "reason", None) or error
            if isinstance(reason, TimeoutError):
                raise CameraError(self._late) from error
            raise CameraError(
                f"{self._name} cannot be reached ({reason}); check its power, the network and the "
                "address"
            ) from error

    @property
    def _name(self) -> str:
        """Without what an address may carry behind its path: that may be secret."""
        return f"the camera at {self._model.url.split('?')[0]}"

    @property
    def _late(self) -> str:
        return (
            f"{self._name} did not give a picture within {self._model.time_limit_s:g} s; check "
            "whether the address is that of a still picture and not of a stream"
        )

    def _fetched(self) -> bytes:
        deadline = time.monotonic() + self._model.time_limit_s
        with self._opener().open(self._model.url, timeout=self._model.time_limit_s) as answer:
            parts, size = [], 0
            while part := answer.read1(_CHUNK_BYTES):
                parts.append(part)
                size += len(part)
                if time.monotonic() > deadline:
                    raise TimeoutError
                if size > MOST_BYTES:
                    raise CameraError(
                        f"{self._name} sent more than {MOST_BYTES >> 20} MB; name the address of a "
                        "still picture, not of a stream"
                    )
            whole = answer.headers["Content-Length"]
            if whole is not None and size < int(whole):
                raise CameraError(
                    f"{self._name} broke off after {size} of {whole} bytes; check the network"
                )
        if not size:
            raise CameraError(f"{self._name} answered without a picture")
        return b"".join(parts)

    def _opener(self) -> urllib.request.OpenerDirector:
        model = self._model
        if model.user is None:
            return urllib.request.build_opener()
        known = urllib.request.HTTPPasswordMgrWithDefaultRealm()
        password = secret(model.password_file, self._folder, "password_file")
        known.add_password(None, model.url, model.user, password)
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
