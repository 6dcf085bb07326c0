"""Frames by day: those left out and why, those used; the grower's word on them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from starlette.responses import Response

from lapsekit.catalogue import Frame, Screening
from lapsekit.counted import counted
from lapsekit.desk import pictures
from lapsekit.desk.asking import Asked, get, post
from lapsekit.edits.verdicts_text import without_verdicts
from lapsekit.errors import SettingsError
from lapsekit.judging import MAY_SHOW_SOMEBODY
from lapsekit.season import VERDICTS_FILE, Season
from lapsekit.verdicts import SAID_NO, SAID_YES, Ruling, with_verdicts

_A_PAGE = 24
_NOT_YET = "not looked at yet"


@dataclass(frozen=True)
class Tile:
    """One frame as the page tells it.

    Attributes
    ----------
    path : str
    picture, large : str
        Addresses.
    width, height : int
        Of `picture`, in px.
    at : datetime
        Local time.
    told : str
        Why it is left out, or that the grower said yes; empty for one that is simply used.
    used : bool
    said : str
        The grower's word: "yes", "no" or "".
    why : str
        What the grower wrote beside it.
    waits : bool
        Whether the word is not worked in yet.
    may_show_somebody : bool
    """

    path: str
    picture: str
    large: str
    width: int
    height: int
    at: object
    told: str
    used: bool
    said: str
    why: str
    waits: bool
    may_show_somebody: bool


def tile(season: Season, frame: Frame, screening: Screening | None, ruling: Ruling | None) -> Tile:
    """A frame with what screening holds of it and what the grower said."""
    reasons = () if screening is None else screening.reasons
    told = _NOT_YET if screening is None else screening.told or ", ".join(reasons)
    waits = word_waits(screening, ruling)
    used = screening is not None and not reasons
    width, height = pictures.shown_size(frame, 480)
    return Tile(
        frame.path,
        pictures.address(frame, 480),
        pictures.address(frame, 1600),
        width,
        height,
        frame.taken_at.astimezone(season.zone),
        told,
        ruling.use if ruling else used,
        "" if ruling is None else "yes" if ruling.use else "no",
        "" if ruling is None else ruling.note or "",
        waits,
        bool(set(reasons) & set(MAY_SHOW_SOMEBODY)),
    )


def word_waits(screening: Screening | None, ruling: Ruling | None) -> bool:
    """Whether what the grower says (or says no more) of a frame is not in its verdict yet."""
    if screening is None:
        return False
    said_before = SAID_NO in screening.reasons or screening.told.startswith(SAID_YES)
    if ruling is None:
        return said_before
    return ruling.use == bool(screening.reasons) or not said_before


def days_waiting(season: Season) -> list[date]:
    """Days whose values change once the grower's words on their frames are worked in."""
    rulings, _ = season.rulings()
    said = season.catalogue.screenings_at(rulings), season.catalogue.with_a_word()
    found = {f.path: (f, seen) for rows in said for f, seen in rows}.values()
    return sorted({f.day for f, seen in found if word_waits(seen, rulings.get(f.path))})


@dataclass(frozen=True)
class Cell:
    """A day in the month's strip: how many frames it has, and how many of them are left out."""

    day: date
    frames: int
    left_out: int


def strip(season: Season, camera: str, month: date) -> list[Cell]:
    """The days of a month."""
    first = month.replace(day=1)
    days = [first + timedelta(days=n) for n in range(31)]
    numbers: dict[date, list[int]] = {}
    for _, day, reasons, number in season.catalogue.counts(camera, first, days[-1]):
        both = numbers.setdefault(day, [0, 0])
        both[0] += number
        both[1] += number if reasons else 0
    return [Cell(day, *numbers.get(day, (0, 0))) for day in days if day.month == first.month]


def _page(asked: Asked, refusal: str = "") -> Response:
    wanted = {name: asked.text(name) or asked.query.get(name, "") for name in ("camera", "day")}
    with asked.season() as season:
        camera = _camera(season, wanted["camera"])
        days = season.catalogue.days_of_camera(camera)
        day = _day(wanted["day"], days, season.day_of(season.clock()))
        tiles = _of_day(season, camera, day)
        facts = {
            "camera": camera,
            "cameras": list(season.settings.cameras),
            "day": day,
            "month": strip(season, camera, day),
            **_neighbours(days, day),
            **_waiting(season),
        }
    left_out = [each for each in tiles if not each.used]
    used = [each for each in tiles if each.used]
    return asked.page(
        "frames.html",
        left_out=left_out,
        used=used,
        seen=_version(asked),
        page=None,
        refusal=refusal,
        why=asked.text("note"),
        **facts,
    )


def _all_left_out(asked: Asked, refusal: str = "") -> Response:
    """Frames left out on all days, the latest first."""
    told = asked.text("page") or asked.query.get("page", "")
    number = int(told) if told.isdecimal() else 1
    with asked.season() as season:
        camera = _camera(season, asked.text("camera") or asked.query.get("camera", ""))
        rulings, _ = season.rulings()
        total = season.catalogue.number_left_out(camera, rulings)
        pages = max(1, -(-total // _A_PAGE))
        number = min(max(number, 1), pages)
        skipped = (number - 1) * _A_PAGE
        found = season.catalogue.page_of_left_out(camera, rulings, _A_PAGE, skipped)
        shown = [tile(season, f, s, rulings.get(f.path)) for f, s in found]
        facts = {"camera": camera, "cameras": list(season.settings.cameras), **_waiting(season)}
    return asked.page(
        "frames_left_out.html",
        left_out=[each for each in shown if not each.used],
        used=[each for each in shown if each.used],
        number=number,
        pages=pages,
        total=total,
        refusal=refusal,
        why=asked.text("note"),
        seen=_version(asked),
        **facts,
    )


def _of_day(season: Season, camera: str, day: date) -> list[Tile]:
    rulings, _ = season.rulings()
    frames = season.catalogue.frames(camera, day)
    seen: Mapping[str, Screening] = {f.path: s for f, s in season.catalogue.screenings(camera, day)}
    return [tile(season, f, seen.get(f.path), rulings.get(f.path)) for f in frames]


def _waiting(season: Season) -> dict:
    """Days to be worked out again, and those of them that readers of the site have seen."""
    waiting = days_waiting(season)
    is_published = season.settings.publish.to is not None
    seen = [day for day in waiting if (season.site / "day" / day.isoformat()).is_dir()]
    return {"waiting": waiting, "published": seen if is_published else []}


def _version(asked: Asked) -> str:
    return asked.desk.book.text(VERDICTS_FILE).version


def _camera(season: Season, wanted: str) -> str:
    cameras = list(season.settings.cameras)
    return wanted if wanted in cameras else cameras[0]


def _day(wanted: str, days: Sequence[date], today: date) -> date:
    try:
        return date.fromisoformat(wanted)
    except ValueError:
        return days[-1] if days else today


def _neighbours(days: Sequence[date], day: date) -> dict:
    """Days with frames before and after; days of the months around."""
    before, after = [d for d in days if d < day], [d for d in days if d > day]
    first = day.replace(day=1)
    return {
        "before": before[-1] if before else None,
        "after": after[0] if after else None,
        "earlier": next((d for d in reversed(before) if d < first), None),
        "later": next((d for d in after if d.replace(day=1) > first), None),
    }


def _rule(asked: Asked) -> Response:
    word, back = asked.text("word"), _back(asked)
    if not asked.texts("frame"):
        refusal = "Tick the frames that you mean first."
        if asked.wants_data:
            raise SettingsError(refusal)
        is_of_all = asked.text("page").isdecimal()
        return (_all_left_out if is_of_all else _page)(asked, refusal)
    with asked.season() as season:
        frames = _named(season, asked.texts("frame"))
        days = {frame.day for frame in season.catalogue.frames_at(frames)}
    note = asked.text("note") or None

    def edit(text: str) -> str:
        if word == "none":
            return without_verdicts(text, frames)
        return with_verdicts(text, frames, word == "yes", note)

    told = {"yes": "use after all", "no": "held back", "none": "your word taken back"}
    if word not in told:
        raise SettingsError("Say what shall become of the frames: use them, or hold them back.")
    change = asked.desk.book.change(
        f"{counted(len(frames), 'frame')} of {_listed(days)}: {told[word]}",
        {VERDICTS_FILE: edit},
        seen={VERDICTS_FILE: asked.text("seen")},
    )
    return asked.changed(change, back, asked.hint(lambda season: _counts_later(season, days)))


def _counts_later(season: Season, days: set[date]) -> str:
    """That days have to be worked out anew before a word about their frames counts."""
    waits = days & set(days_waiting(season))
    return "It counts once the days are worked out again." if waits else ""


def _named(season: Season, wanted: Sequence[str]) -> list[str]:
    """Frames of a form, looked up in the catalogue."""
    there = {frame.path for frame in season.catalogue.frames_at(wanted)}
    missing = [name for name in wanted if name not in there]
    if missing:
        raise SettingsError(f"{missing[0]}: no such frame in this season; open the page again")
    return list(dict.fromkeys(wanted))


def _back(asked: Asked) -> str:
    """Where the form came from: the page of a day, or of all that are left out."""
    camera = asked.text("camera")
    with asked.season() as season:
        camera = _camera(season, camera)
    if asked.text("page").isdecimal():
        return f"/frames/left-out?camera={camera}&page={asked.text('page')}"
    return f"/frames/?camera={camera}&day={asked.day('day').isoformat()}"


def _measure(asked: Asked) -> Response:
    return asked.measure(_back(asked))


def _listed(days: set[date]) -> str:
    if len(days) > 3:
        return f"{len(days)} days"
    return ", ".join(day.isoformat() for day in sorted(days))


ROUTES = (
    get("/frames/", _page),
    get("/frames/left-out", _all_left_out),
    post("/frames/rule", _rule),
    post("/frames/measure", _measure),
)
