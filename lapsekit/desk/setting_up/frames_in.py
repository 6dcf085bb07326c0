"""Pictures that the grower brings in at the desk, for a camera that takes none by itself."""

import tempfile
from pathlib import Path

from starlette.responses import Response

from lapsekit.desk.asking import Asked, post
from lapsekit.desk.setting_up.steps import camera_of
from lapsekit.errors import SettingsError
from lapsekit.frames.bringing_in import TimeSource, bring_in
from lapsekit.season import Season

_WAIT_S = 5.0


def _bring(asked: Asked) -> Response:
    given = [data for data in asked.files.get("pictures", []) if data]
    if not given:
        raise SettingsError("pictures: choose some first")
    with asked.season() as season, season.lock("import", _WAIT_S):
        name = camera_of(asked, season)
        if season.settings.cameras[name].kind != "files":
            raise SettingsError(f'camera "{name}" takes its pictures by itself')
        stored, known, refused = _filed(season, name, given)
    told = f"{stored} filed"
    if known:
        told += f", {known} were there already"
    if refused:
        raise SettingsError("\n".join([f"{told}; not filed:", *refused]))
    return asked.note(f"{told}.", f"/setup/aim/{name}/")


def _filed(season: Season, camera: str, given: list[bytes]) -> tuple[int, int, list[str]]:
    """How many were filed, how many were known, and why others were not."""
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as folder:
        for number, data in enumerate(given, start=1):
            Path(folder, f"picture-{number}.jpg").write_bytes(data)
        report = bring_in(
            Path(folder),
            camera,
            TimeSource(season.zone),
            season.archive,
            season.catalogue,
            season.clock,
            season.day_of,
        )
    late = [(name, f"dated in the future, kept as {path}") for name, path in report.aside]
    refused = [f"picture {_number(name)}: {why}" for name, why in report.refused + late]
    return len(report.stored), len(report.duplicates), refused


def _number(path: str) -> str:
    return Path(path).stem.removeprefix("picture-")


ROUTES = (post("/setup/aim/{camera}/pictures", _bring),)
