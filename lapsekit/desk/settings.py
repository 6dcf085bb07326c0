"""Settings: every table of season.toml as a form; each of the season's texts as it is."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.settings_fields import Field, fields, understood
from lapsekit.desk.settings_help import help_of
from lapsekit.desk.settings_labels import labels_of
from lapsekit.edits.book import NAMES
from lapsekit.edits.settings_text import with_value, without
from lapsekit.errors import ChangedMeanwhile, LapsekitError, SettingsError
from lapsekit.followers.inbox import inbox_of
from lapsekit.noting import list_events
from lapsekit.season import DIARY_FILE, SETTINGS_FILE, Season
from lapsekit.settings import (
    AlertsTable,
    AnswersTable,
    CanopyTable,
    CaptureTable,
    CommandCamera,
    ComputeTable,
    CopiesTable,
    FilesCamera,
    FilmTable,
    FollowersTable,
    FramesTable,
    HttpCamera,
    MailTable,
    MorningTable,
    PageTable,
    PiCamera,
    PlaceTable,
    PublishTable,
    RegistrationTable,
    ReplayCamera,
    RtspCamera,
    ScreeningTable,
    SeasonTable,
    SiteTable,
    ThinningTable,
    UsbCamera,
    WatchedCamera,
)
from lapsekit.settings.values import Model

TABLES: dict[str, tuple[str, type[Model]]] = {
    "season": ("The season", SeasonTable),
    "place": ("Where the bench stands", PlaceTable),
    "capture": ("When pictures are taken", CaptureTable),
    "frames": ("Where pictures lie", FramesTable),
    "morning": ("The morning's work", MorningTable),
    "compute": ("What heavy work may use", ComputeTable),
    "screening": ("Frames that are not used", ScreeningTable),
    "registration": ("Holding frames to the reference view", RegistrationTable),
    "canopy": ("What counts as plant", CanopyTable),
    "film": ("All films", FilmTable),
    "site": ("The site", SiteTable),
    "publish": ("Where the site goes", PublishTable),
    "copies": ("Copies of the season", CopiesTable),
    "thinning": ("Thinning out old frames", ThinningTable),
    "alerts": ("Who is called when something is wrong", AlertsTable),
    "followers": ("Followers' pictures", FollowersTable),
    "followers.mail": ("The mailbox they come to", MailTable),
    "followers.page": ("How much the upload page takes", PageTable),
    "followers.answers": ("Who sends answers", AnswersTable),
}
"""Every table but cameras and cuts, in the order of the list."""

CAMERAS: dict[str, type[Model]] = {
    "files": FilesCamera,
    "usb": UsbCamera,
    "pi": PiCamera,
    "command": CommandCamera,
    "http": HttpCamera,
    "rtsp": RtspCamera,
    "watched": WatchedCamera,
    "replay": ReplayCamera,
}
_CAUTIONS = {
    "capture": "Where a grow lamp burns, take pictures while it is on, and do not look into it.",
    "place": "The place stays in this folder; it stands on no page and in no picture.",
    "publish": "Passwords never stand in this file: password_file names a file that only you read.",
    "followers": "You will hold other people's data, perhaps children's: have the privacy notice "
    "checked before the first picture comes.",
    "thinning": "Frames that are thinned out are gone from this machine; keep a copy elsewhere.",
}
_FOLDER = re.compile(r"^.*/(?=season\.toml: )")
_PROBLEM = re.compile(r"[^:]*season\.toml: ([\w.-]+)(?: = |: | )(.*)")


def _file(asked: Asked) -> tuple[Mapping[str, Any], str]:
    """What season.toml holds now, even where it cannot be used, and its version."""
    text = asked.desk.book.text(SETTINGS_FILE)
    try:
        return tomllib.loads(text.content), text.version
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(
            f"{SETTINGS_FILE} is not valid TOML ({error}); mend it under Settings, as text"
        ) from error


def _page(asked: Asked) -> Response:
    try:
        table, _ = _file(asked)
        fault = ""
    except SettingsError as error:
        table, fault = {}, f"{error}"
    found = table.get("cameras", {})
    cameras = list(found) if isinstance(found, dict) else []
    tables = [(name, title) for name, (title, _) in TABLES.items()]
    return asked.page("settings.html", tables=tables, cameras=cameras, texts=NAMES, fault=fault)


def _model(name: str, whole: Mapping[str, Any]) -> tuple[str, type[Model]]:
    """Title and model of a table; that of a camera goes by its kind."""
    if name in TABLES:
        return TABLES[name]
    camera = whole.get("cameras", {}).get(name.removeprefix("cameras."), None)
    if not name.startswith("cameras.") or not isinstance(camera, dict):
        raise HTTPException(404)
    return f"The camera {name.removeprefix('cameras.')}", CAMERAS.get(
        camera.get("kind"), FilesCamera
    )


def _held(whole: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found: Any = whole
    for part in name.split("."):
        found = found.get(part, {}) if isinstance(found, dict) else {}
    return found if isinstance(found, dict) else {}


def _fields(name: str, model: type[Model], whole: Mapping[str, Any]) -> list[Field]:
    held = _held(whole, name)
    return fields(model, held, help_of(name, held.get("kind", "")), labels_of(name))


def _table(
    asked: Asked, problems: Mapping[str, str] | None = None, others: Sequence[str] = ()
) -> Response:
    name = asked.named["table"]
    whole, version = _file(asked)
    title, model = _model(name, whole)
    found = _fields(name, model, whole)
    typed = {each.key: asked.text(each.key, each.value) for each in found} if asked.form else {}
    return asked.page(
        "settings_table.html",
        table=name,
        table_title=title,
        fields=found,
        typed=typed,
        about=help_of(name).get("", ""),
        caution=_CAUTIONS.get(name, ""),
        seen=asked.text("seen") or version,
        problems=problems or {},
        others=others,
    )


def _save(asked: Asked) -> Response:
    name = asked.named["table"]
    whole, _ = _file(asked)
    title, model = _model(name, whole)
    found = _fields(name, model, whole)
    path = tuple(name.split("."))
    said = {each.key: _value(asked, each) for each in found if _is_changed(asked, each)}

    def edit(text: str) -> str:
        for key, value in said.items():
            is_gone = value is None
            text = without(text, (*path, key)) if is_gone else with_value(text, (*path, key), value)
        return text

    seen = {SETTINGS_FILE: asked.text("seen")}
    try:
        labels = ", ".join(f"“{each.label}”" for each in found if each.key in said) or "nothing"
        what = f"{title}: {labels} set"
        if said.get("inbox"):
            with asked.season() as season:
                inbox_of(season.folder, season.settings, said["inbox"])
        change = asked.desk.book.change(what, {SETTINGS_FILE: edit}, seen=seen)
    except ChangedMeanwhile:
        raise
    except LapsekitError as error:
        return _table(asked, *_sorted_out(f"{error}", name, [each.key for each in found]))
    return asked.changed(change, f"/settings/{name}", _made_inbox(asked) if "inbox" in said else "")


def _made_inbox(asked: Asked) -> str:
    """Make the folder that followers' pictures come into, inside the season folder alone."""
    with asked.season() as season:
        named = season.settings.followers.inbox
        if named is None:
            return ""
        inbox = inbox_of(season.folder, season.settings)
    if inbox.is_dir():
        return ""
    if not inbox.resolve().is_relative_to(asked.desk.folder.resolve()):
        return f"Make the folder {named} yourself: it lies outside the season folder."
    inbox.mkdir(parents=True)
    return f"The folder {named} is made."


def _value(asked: Asked, field: Field) -> Any:
    """What the form says of a field; None for what is usual."""
    if field.kind == "choices":
        return asked.texts(field.key) or None
    told = asked.text(field.key)
    return None if told == field.usual else understood(told, field.kind)


def _is_changed(asked: Asked, field: Field) -> bool:
    if field.kind == "choices":
        return tuple(asked.texts(field.key)) != field.chosen
    return asked.text(field.key) != field.value and not (
        not field.value and asked.text(field.key) == field.usual
    )


def _sorted_out(told: str, name: str, keys: Sequence[str]) -> tuple[dict[str, str], list[str]]:
    """A refusal's lines by the key that they are about, and those about none of this table."""
    by_key: dict[str, str] = {}
    others = []
    for line in told.splitlines():
        found = _PROBLEM.match(line)
        if found and found[1].startswith(f"{name}."):
            by_key[found[1].removeprefix(f"{name}.")] = found[2]
        elif found and found[1] == name and (about := _spoken_of(found[2], keys)):
            by_key |= dict.fromkeys(about, found[2])
        else:
            others.append(_FOLDER.sub("", line))
    return by_key, others


def _spoken_of(told: str, keys: Sequence[str]) -> list[str]:
    """The fields that a refusal of a table as a whole is about: its first word, and what must."""
    words = {told.split(" ")[0].strip(",;:"), *re.findall(r"(\w+) must\b", told)}
    return [key for key in keys if key in words]


def _text(asked: Asked) -> Response:
    name = asked.named["name"]
    if name not in NAMES:
        raise HTTPException(404)
    text = asked.desk.book.text(name)
    return asked.page("settings_text.html", text=text, content=text.content, refusal="")


def _save_text(asked: Asked) -> Response:
    """Write a text anew; browsers end lines their own way, the file keeps its own."""
    name = asked.named["name"]
    if name not in NAMES:
        raise HTTPException(404)
    sent = (asked.form.get("content") or [""])[0].replace("\r\n", "\n")

    def edit(before: str) -> str:
        return sent.replace("\n", "\r\n") if "\r\n" in before else sent

    try:
        seen = {name: asked.text("seen")}
        change = asked.desk.book.change(f"{name} edited as text", {name: edit}, seen=seen)
    except ChangedMeanwhile:
        raise
    except LapsekitError as error:
        text = asked.desk.book.text(name)
        return asked.page("settings_text.html", text=text, content=sent, refusal=f"{error}")
    more = asked.hint(_lines_to_come) if name == DIARY_FILE else ""
    return asked.changed(change, f"/settings/text/{name}", more)


def _lines_to_come(season: Season) -> str:
    """Lines of the diary that wait for their day, or have a wrong one."""
    return " ".join(list_events(season).to_come)


ROUTES = (
    get("/settings/", _page),
    get("/settings/text/{name}", _text),
    post("/settings/text/{name}", _save_text),
    get("/settings/{table}", _table),
    post("/settings/{table}", _save),
)
