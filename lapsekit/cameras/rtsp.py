"""One picture out of a video stream under an address, by FFmpeg's libraries (PyAV).

Most pictures of a stream tell only what changed since the one before, so that after a loss they
look half like the bench and half like mud. What is taken here is a key picture, which stands for
itself; where the camera sends none in time, the newest one since a key picture without a fault.
"""

from __future__ import annotations

import io
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlsplit, urlunsplit

from lapsekit.cameras import Shot
from lapsekit.cameras.apart import Note, take_apart
from lapsekit.errors import CameraError
from lapsekit.secrets import secret

if TYPE_CHECKING:
    from lapsekit import settings

_WAIT_FOR_KEY = 0.6
"""Share of the time, after the warm-up frames, for which a key picture is waited for."""

_LEAST_S = 0.5
_LATE = "did not answer in time; check its power, the network and the address"


class Rtsp:
    """Opens the stream for one picture and leaves it again.

    Parameters
    ----------
    model : settings.RtspCamera
    folder : pathlib.Path
        The season folder, which a password file may be named from.
    """

    def __init__(self, model: settings.RtspCamera, folder: Path):
        self._model = model
        self._folder = folder

    def take(self, now: datetime) -> Shot:
        """Take one picture after the warm-up frames; it counts as taken when it was asked for."""
        model = self._model
        wanted = model.model_dump(
            mode="json", include={"kind", "url", "user", "warm_up_frames", "jpeg_quality"}
        )
        if model.user is not None:
            wanted["password"] = secret(model.password_file, self._folder, "password_file")
        return take_apart(wanted, _name(model.url), model.time_limit_s, now)


def _name(url: str) -> str:
    """Without what an address may carry behind its path: that may be secret."""
    return f"the camera at {url.split('?')[0]}"


def read_rtsp(wanted: dict, until: float, note: Note) -> bytes:
    """One picture of a stream; a `lapsekit.cameras.apart.Reader`."""
    import av

    av.logging.set_level(None)
    name = _name(wanted["url"])
    left = max(_LEAST_S, until - time.monotonic())
    try:
        with av.open(
            _whole_address(wanted),
            options={"rtsp_transport": "tcp"},
            timeout=(left, left),
        ) as stream:
            return _encoded(_picture(stream, wanted["warm_up_frames"], until, name), wanted)
    except av.FFmpegError as error:  # its text holds the address with the password
        late = time.monotonic() > until - _LEAST_S
        raise CameraError(f"{name} {_LATE if late else _reason(error, wanted)}") from None


def _whole_address(wanted: dict) -> str:
    if wanted.get("user") is None:
        return wanted["url"]
    parts = urlsplit(wanted["url"])
    who = f"{quote(wanted['user'], safe='')}:{quote(wanted['password'], safe='')}"
    return urlunsplit(parts._replace(netloc=f"{who}@{parts.netloc}"))


def _reason(error: Exception, wanted: dict) -> str:
    """What an error of the library comes to."""
    import av

    match error:
        case av.HTTPUnauthorizedError() | av.HTTPForbiddenError():
            if wanted.get("user") is None:
                return "asks for a password; give user and password_file"
            return "refuses the password; check user and password_file"
        case av.HTTPNotFoundError():
            return "knows no such stream; check the address behind the host, in the camera's pages"
        case av.ExitError() | av.TimeoutError():
            return _LATE
        case av.EOFError():
            return "broke the stream off; check the network, and how many may watch it at once"
        case av.InvalidDataError() | av.DecoderNotFoundError():
            return "does not send video that can be read; set it to H.264"
    said = error.strerror or type(error).__name__
    return f"cannot be reached ({said}); check its power, the network and the address"


def _picture(stream: Any, warm_up: int, until: float, name: str) -> Any:
    """The next key picture after the warm-up frames, or the newest good one if it is long."""
    if not stream.streams.video:
        raise CameraError(f"{name} sends no video, only sound; check the address")
    began, number = None, 0
    for frame in _good(stream, until):
        number += 1
        if number <= warm_up:
            continue
        began = began or time.monotonic()
        if frame.key_frame or time.monotonic() - began > _WAIT_FOR_KEY * (until - began):
            return frame
    raise CameraError(
        f"{name} gave {number} whole pictures in time, and {warm_up + 1} are needed; check the "
        "network, ask for fewer warm_up_frames, or set it to send key frames more often"
    )


def _good(stream: Any, until: float) -> Iterator[Any]:
    """Pictures that are whole: from a key picture on, up to the next fault, and so on."""
    import av

    video = stream.streams.video[0]
    video.codec_context.thread_type = "NONE"  # a thread a picture holds pictures back
    video.codec_context.options = {"err_detect": "explode"}
    since_key = False
    for packet in _packets(stream, video, until):
        since_key = (since_key or packet.is_keyframe) and not packet.is_corrupt
        if not since_key:
            continue
        try:
            frames = packet.decode()
        except av.InvalidDataError:
            since_key = False
            continue
        for frame in frames:
            since_key = since_key and not frame.is_corrupt
            if since_key:
                yield frame


def _packets(stream: Any, video: Any, until: float) -> Iterator[Any]:
    """What the camera sends, until it stops or there is no more time."""
    import av

    try:
        for packet in stream.demux(video):
            yield packet
            if time.monotonic() > until:
                return
    except (av.EOFError, av.ExitError, av.TimeoutError):
        return


def _encoded(frame: Any, wanted: dict) -> bytes:
    out = io.BytesIO()
    frame.to_image().save(out, "JPEG", quality=wanted["jpeg_quality"])
    return out.getvalue()
