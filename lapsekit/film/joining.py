"""Segments -> one film, not encoded again, with chapters and timed text inside."""

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from lapsekit.errors import FilmError
from lapsekit.film.encoding import local, written_whole
from lapsekit.film.languages import three_letters
from lapsekit.film.segments import Segment
from lapsekit.film.tracks import Cue, one_line

#: Times of chapters and timed text are kept in thousandths of a second.
_TEXT_BASE = Fraction(1, 1000)
#: Chapter titles are kept with their length in one byte.
_MOST_BYTES = 250
# Opened so, no picture is decoded: all that must be known stands in the file's head.
_UNDECODED = ({"skip_frame": "all"},)
# How timed text looks where a player asks (3GPP TS 26.245): white letters below, on nothing.
_TEXT_HEADER = (
    b"[Script Info]\nScriptType: v4.00+\n\n[V4+ Styles]\n"
    b"Format: Name, Fontname, Fontsize, PrimaryColour, SecondaryColour, OutlineColour, "
    b"BackColour, Bold, Italic, Underline, StrikeOut, ScaleX, ScaleY, Spacing, Angle, "
    b"BorderStyle, Outline, Shadow, Alignment, MarginL, MarginR, MarginV, Encoding\n"
    b"Style: Default,Serif,18,&Hffffff,&Hffffff,&H0,&H0,0,0,0,0,100,100,0,0,1,1,0,2,10,10,10,0\n\n"
    b"[Events]\nFormat: Layer, Start, End, Style, Name, MarginL, MarginR, MarginV, Effect, Text\n"
)


@dataclass(frozen=True)
class Joined:
    """A film that was joined: how many pictures it shows, and how long that takes."""

    path: Path
    pictures: int
    duration_s: float


def join(
    target: Path,
    segments: Sequence[Segment],
    frames_per_second: int,
    *,
    title: str = "",
    language: str = "en",
    chapters: Sequence[Cue] = (),
    captions: Sequence[Cue] = (),
) -> Joined:
    """Put segments one after another into one file, as they are.

    Parameters
    ----------
    target : pathlib.Path
        The film; its folder exists, its ending is that of the segments.
    segments : sequence of Segment
        In order, all encoded by one recipe at `frames_per_second`.
    frames_per_second : int
    title : str
        Told by players.
    language : str
        Of title, chapters and captions: ISO 639-1, like ``de``.
    chapters : sequence of Cue
        In order, not over one another.
    captions : sequence of Cue
        Timed text inside the file; in order, not over one another.

    Returns
    -------
    Joined

    Raises
    ------
    FilmError
        If there is no segment, one cannot be read, is not as long as it should be, or is of
        another kind than the first; `target` stays as it was.
    """
    if not segments:
        raise FilmError(f"{target}: there is no picture to make a film of")
    with written_whole(target) as part, _opened(segments[0], ()) as first:
        template = first.streams.video[0]
        ticks = 512 * frames_per_second  # a second; so many that every picture begins at one
        options = {"movflags": "faststart", "movie_timescale": f"{ticks}"}
        with av.open(local(part), "w", options=options) as film:
            video = film.add_stream_from_template(template, opaque=True)
            video.time_base = Fraction(1, ticks)
            if title:
                film.metadata["title"] = one_line(title)
            code = three_letters(language)
            video.metadata["language"] = code
            texts = _text_packets(film, captions, code)
            film.set_chapters([_chapter(n, cue) for n, cue in enumerate(chapters)])
            count = _fill(film, video, _video_packets(segments, template, frames_per_second), texts)
    return Joined(target, count, count / frames_per_second)


def _fill(film: Any, video: Any, packets: Iterator[av.Packet], texts: list[av.Packet]) -> int:
    """Write pictures and texts in the order of their times; the number of pictures."""
    count, waiting = 0, texts[::-1]
    for packet in packets:
        while waiting and waiting[-1].dts * _TEXT_BASE <= packet.dts * packet.time_base:
            film.mux_one(waiting.pop())
        packet.stream = video
        film.mux_one(packet)
        count += 1
    for text in waiting[::-1]:
        film.mux_one(text)
    return count


def _video_packets(
    segments: Sequence[Segment], template: Any, frames_per_second: int
) -> Iterator[av.Packet]:
    """All packets, each with its place in the whole film; times count pictures."""
    before, kind = 0, _kind(template)
    # What is shown later than it is decoded is so by this many pictures at most, in every segment.
    delay = template.codec_context.reorder_depth
    for segment in segments:
        with _opened(segment) as source:
            stream = source.streams.video[0]
            _require_like(segment, _kind(stream), kind)
            count = 0
            for packet in source.demux(stream):
                if packet.pts is None:
                    continue  # the one that says that there are no more
                shown = round(packet.pts * stream.time_base * frames_per_second)
                packet.pts, packet.dts = before + shown, before + count - delay
                packet.time_base, packet.duration = Fraction(1, frames_per_second), 1
                count += 1
                yield packet
        if count != segment.count:
            raise FilmError(
                f"{segment.path}: holds {count} pictures instead of {segment.count}; delete it, "
                "then film again"
            )
        before += count


def _opened(segment: Segment, options: Sequence[dict[str, str]] = _UNDECODED) -> Any:
    try:
        source = av.open(local(segment.path), stream_options=list(options))
        if source.streams.video:
            return source
        source.close()
        reason: object = "no pictures in it"
    except (OSError, av.FFmpegError) as error:
        reason = error
    raise FilmError(
        f"{segment.path}: part of a film that cannot be read ({reason}); delete it, then film again"
    )


def _kind(stream: Any) -> dict[str, object]:
    """What must be the same in all segments for a player not to notice where they meet."""
    context = stream.codec_context
    colours = (context.colorspace, context.color_range, context.color_primaries, context.color_trc)
    return {
        "codec": context.name,
        "size": (context.width, context.height),
        "tag": context.codec_tag,
        "colours": colours,
        "parameter sets": bytes(context.extradata or b""),
    }


def _require_like(segment: Segment, kind: dict[str, object], first: dict[str, object]) -> None:
    other = [name for name, value in kind.items() if value != first[name]]
    if not other:
        return
    values = "" if other[0] == "parameter sets" else f": {kind[other[0]]}, not {first[other[0]]}"
    raise FilmError(
        f"{segment.path}: cannot be joined to the film, its {other[0]} differ from those of the "
        f"first part{values}; delete the folder it lies in, then film again"
    )


def _chapter(number: int, cue: Cue) -> dict[str, Any]:
    start, end = _thousandths(cue)
    return {
        "id": number,
        "start": start,
        "end": end,
        "time_base": _TEXT_BASE,
        "metadata": {"title": _within(one_line(cue.text), _MOST_BYTES)},
    }


def _text_packets(film: Any, captions: Sequence[Cue], code: str) -> list[av.Packet]:
    """Timed text as samples of a track of its own: their length in two bytes, then UTF-8."""
    if not captions:
        return []
    stream = film.add_stream("mov_text")
    stream.time_base = _TEXT_BASE
    stream.codec_context.time_base = _TEXT_BASE
    stream.codec_context.subtitle_header = _TEXT_HEADER
    stream.metadata["language"] = code
    packets = []
    for cue in captions:
        start, end = _thousandths(cue)
        if start == end:
            continue  # no player shows it
        text = _within(one_line(cue.text), 0xFFFF).encode()
        packet = av.Packet(struct.pack(">H", len(text)) + text)
        packet.stream, packet.time_base = stream, _TEXT_BASE
        packet.pts = packet.dts = start
        packet.duration = end - start
        packet.is_keyframe = True
        packets.append(packet)
    return packets


def _thousandths(cue: Cue) -> tuple[int, int]:
    """Start and end, never after the true ones: no text is longer than the film."""
    return int(1000 * cue.start_s + 1e-6), int(1000 * cue.end_s + 1e-6)


def _within(text: str, most_bytes: int) -> str:
    """No more of a text than fits, cut between letters."""
    return text.encode()[:most_bytes].decode(errors="ignore")
