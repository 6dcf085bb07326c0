"""What a picture file carries beside its pixels: taken out, and our own put in, bytes to bytes.

Nothing is decoded: the pixels of what comes out are those of what went in, bit by bit. All that is
not needed to show a picture goes (positions, serial numbers, notes of the maker, thumbnails,
comments, further pictures behind the first); what stays is named here, so that a kind of data that
nobody has thought of goes too.
"""

import re
import struct
import zlib
from collections.abc import Iterator

from lapsekit.errors import PictureError

_SOI, _EOI, _SOS = b"\xff\xd8", 0xD9, 0xDA
_STUFFED = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
_MARK = re.compile(rb"\xff[^\x00\xff]")
_BARE = {0x01, *range(0xD0, 0xD8)}
_APP0, _APP1, _APP2, _APP14, _APP15, _COMMENT = 0xE0, 0xE1, 0xE2, 0xEE, 0xEF, 0xFE

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_SHOWS = {
    *(b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB"),
    *(b"bKGD", b"hIST", b"pHYs", b"sPLT", b"cICP", b"mDCV", b"cLLI"),
}

_WEBP_SHOWS = {b"VP8 ", b"VP8L", b"ALPH"}
_HAS_ICC, _HAS_ALPHA, _HAS_EXIF = 0x20, 0x10, 0x08


def with_metadata(data: bytes, exif: bytes) -> bytes:
    """A picture file with `exif`, and nothing else beside what it takes to show it.

    Parameters
    ----------
    data : bytes
        A whole JPEG, PNG or WebP file.
    exif : bytes
        A TIFF structure (``II*`` or ``MM*`` first).

    Returns
    -------
    bytes
        The same pixels with the same colour profile.

    Raises
    ------
    PictureError
        If the file is not put together as its kind should be.
    """
    try:
        if data.startswith(_SOI):
            return _jpeg(data, exif)
        if data.startswith(_PNG):
            return _png(data, exif)
        return _webp(data, exif)
    except (struct.error, IndexError) as error:
        raise PictureError(f"truncated or damaged ({error})") from error


def is_whole_jpeg(data: bytes) -> bool:
    """Whether it is a JPEG that goes on, segment by segment, to its end mark.

    A decoder notices of a JPEG that breaks off just this: that the end mark is missing.
    """
    try:
        return data.startswith(_SOI) and any(mark == _EOI for mark, _, _ in _segments(data))
    except (struct.error, IndexError):
        return False


def _segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Mark, start and end of each segment after the first two bytes; scans with their data."""
    at = 2
    while at < len(data):
        if data[at] != 0xFF:  # some cameras leave stray bytes between segments; decoders pass on
            found = _MARK.search(data, at)
            if found is None:
                raise IndexError("no mark where one should be")
            at = found.start()
        while data[at + 1] == 0xFF:  # fill bytes
            at += 1
        mark, end = data[at + 1], at + 2
        if mark not in _BARE and mark != _EOI:
            end += struct.unpack_from(">H", data, end)[0]
        if mark == _SOS:
            found = _STUFFED.search(data, end)
            end = found.start() if found else len(data)
        yield mark, at, end
        if mark == _EOI:
            return
        at = end


def _jpeg(data: bytes, exif: bytes) -> bytes:
    head, rest = [_SOI], []
    for mark, start, end in _segments(data):
        payload = data[start + 4 : end]
        if mark == _APP0:
            if payload.startswith(b"JFIF\0") and len(payload) >= 12:
                head.append(_segment(_APP0, payload[:12] + b"\0\0"))  # without its thumbnail
        elif mark == _APP2:
            if payload.startswith(b"ICC_PROFILE\0"):
                rest.append(data[start:end])
        elif mark == _APP14:
            if payload.startswith(b"Adobe"):  # says how colours are coded
                rest.append(_segment(_APP14, payload[:12]))
        elif not (_APP1 <= mark <= _APP15 or mark == _COMMENT):
            rest.append(data[start:end])
    return b"".join([*head, _segment(_APP1, b"Exif\0\0" + exif), *rest])


def _segment(mark: int, payload: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, mark, len(payload) + 2) + payload


def _png(data: bytes, exif: bytes) -> bytes:
    parts, at, kind = [_PNG], len(_PNG), b""
    while kind != b"IEND":
        size, kind = struct.unpack_from(">I4s", data, at)
        whole, at = data[at : at + 12 + size], at + 12 + size
        if len(whole) < 12 + size:
            raise PictureError("truncated or damaged (a chunk is not whole)")
        if kind in _PNG_SHOWS:
            parts.append(whole)
        if kind == b"IHDR":
            mark = zlib.crc32(b"eXIf" + exif)
            parts.append(struct.pack(">I4s", len(exif), b"eXIf") + exif + struct.pack(">I", mark))
    return b"".join(parts)


def _webp(data: bytes, exif: bytes) -> bytes:
    chunks = dict(_webp_chunks(data))
    shows = [(kind, body) for kind, body in chunks.items() if kind in _WEBP_SHOWS]
    if not shows:
        raise PictureError("a WebP file without a still picture")
    extended = chunks.get(b"VP8X") or _extended(chunks)
    flags = _HAS_EXIF | (extended[0] & _HAS_ALPHA) | (_HAS_ICC if b"ICCP" in chunks else 0)
    profile = [(b"ICCP", chunks[b"ICCP"])] if b"ICCP" in chunks else []
    order = [(b"VP8X", bytes([flags]) + extended[1:]), *profile, *shows, (b"EXIF", exif)]
    body = b"WEBP" + b"".join(
        kind + struct.pack("<I", len(part)) + part + b"\0" * (len(part) % 2) for kind, part in order
    )
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _webp_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at, end = 12, min(len(data), 8 + struct.unpack_from("<I", data, 4)[0])
    while at + 8 <= end:
        kind, size = struct.unpack_from("<4sI", data, at)
        yield kind, data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2


def _extended(chunks: dict[bytes, bytes]) -> bytes:
    """The header that a simple WebP file lacks: flags and size."""
    if b"VP8L" in chunks:
        bits = struct.unpack_from("<I", chunks[b"VP8L"], 1)[0]
        width, height, alpha = bits & 0x3FFF, bits >> 14 & 0x3FFF, bits >> 28 & 1
    else:
        width, height = (v & 0x3FFF for v in struct.unpack_from("<HH", chunks[b"VP8 "], 6))
        width, height, alpha = width - 1, height - 1, 0
    sizes = struct.pack("<I", width)[:3] + struct.pack("<I", height)[:3]
    return bytes([_HAS_ALPHA * alpha, 0, 0, 0]) + sizes
