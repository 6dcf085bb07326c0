"""Pictures that the grower brings in at the desk, for a camera that takes none by itself."""

import tempfile
from collections.abc import Sequence
from pathlib import Path

from starlette.responses import Response

from lapsekit.desk.asking import Asked, Sent, post
from lapsekit.desk.setting_up.steps import camera_of
from lapsekit.errors import ArchiveError, SettingsError
from lapsekit.frames.bringing_in import ImportReport, TimeSource, bring_in
from lapsekit.season import Season

_WAIT_S = 5.0
_FOR_NONE = (
    "choose the file as the camera wrote it (programs that send or edit pictures often leave the "
    "time out)"
)


def _bring(asked: Asked) -> Response:
    given = asked.files.get("pictures", [])
    if not given:
        raise SettingsError("pictures: choose some first")
    with asked.season() as season, season.lock("import", _WAIT_S):
        name = camera_of(asked, season)
        if season.settings.cameras[name].kind != "files":
            raise SettingsError(f'camera "{name}" takes its pictures by itself')
        told, refused = _filed(season, name, given)
    return asked.note(told, f"/setup/aim/{name}/", refused)


def _filed(season: Season, camera: str, given: Sequence[Sent]) -> tuple[str, list[str]]:
    """What was filed, and by the files' names why others were not."""
    names = {f"{number:04d}.jpg": sent.name for number, sent in enumerate(given)}
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as folder:
        for own, sent in zip(names, given, strict=True):
            Path(folder, own).write_bytes(sent.data)
        try:
            report = _brought_in(season, camera, Path(folder))
        except ArchiveError as error:
            return "Filing broke off. What was filed before that stays.", [f"{error}"]
    late = [(own, f"dated in the future, kept as {path}") for own, path in report.aside]
    refused = [f"{names[own]}: {why}" for own, why in sorted(report.refused + late)]
    return _told(len(report.stored), len(report.duplicates), len(refused)), refused


def _brought_in(season: Season, camera: str, folder: Path) -> ImportReport:
    times = TimeSource(season.zone, for_none=_FOR_NONE)
    archive, catalogue = season.archive, season.catalogue
    return bring_in(folder, camera, times, archive, catalogue, season.clock, season.day_of)


def _told(stored: int, known: int, refused: int) -> str:
    were = f"{known} {'was' if known == 1 else 'were'} there already" if known else ""
    parts = [f"{stored} filed", were, f"{refused} not filed:" if refused else ""]
    told = ", ".join(part for part in parts if part)
    return told if refused else f"{told}."


ROUTES = (post("/setup/aim/{camera}/pictures", _bring),)
