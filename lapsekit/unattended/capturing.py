"""One frame from a camera into the archive."""

from dataclasses import dataclass
from datetime import datetime

from lapsekit.cameras import Camera, Shot, open_camera
from lapsekit.catalogue import Frame
from lapsekit.errors import CameraError, PictureError
from lapsekit.frames.finishing import finished
from lapsekit.frames.indexing import described
from lapsekit.frames.inspection import PictureFacts, inspect
from lapsekit.frames.room import require_room
from lapsekit.season import Season
from lapsekit.unattended.clock import Machine
from lapsekit.unattended.waiting import keep_waiting
from lapsekit.when import is_plausible


def capturing_cameras(season: Season) -> dict[str, Camera]:
    """The cameras of season.toml that take pictures by themselves.

    Raises
    ------
    CameraError
        If there is none.
    """
    models = season.settings.cameras.items()
    found = {
        n: open_camera(n, m, season.folder, season.zone) for n, m in models if m.kind != "files"
    }
    if not found:
        raise CameraError(
            "no camera of season.toml takes pictures by itself; give one another kind than "
            '"files" (see the comments in season.toml)'
        )
    return found


@dataclass(frozen=True)
class Captured:
    """A frame that was filed.

    Attributes
    ----------
    frame : Frame
    is_new : bool
        False if the archive had this very frame already.
    notes : tuple of str
        What the camera did not do as season.toml asks.
    """

    frame: Frame
    is_new: bool
    notes: tuple[str, ...]


def capture(season: Season, name: str, camera: Camera, is_daily: bool = True) -> Captured:
    """Take one frame now, file it and note it in the catalogue.

    Parameters
    ----------
    season : Season
        The season; its clock says what "now" is.
    name : str
        The camera's name in season.toml.
    camera : Camera
        The camera itself.
    is_daily : bool
        Whether it is the day's one picture, or was asked for by hand: others are not taken when
        the disk is nearly full.

    Raises
    ------
    CameraError
        If the camera gave no picture, or bytes that are none, or if privacy areas could not be
        blacked out.
    ArchiveError
        If the frame could not be stored, or there is no room for more than the daily picture.
    CatalogueError
        If it was stored but not noted; ``lapsekit index`` notes it later.
    """
    require_room(season.folder, season.settings.capture.keep_free_mb, is_daily)
    shot = camera.take(season.clock())
    facts, data = _looked_over(season, name, shot, shot.taken_at)
    if not is_plausible(shot.taken_at, season.clock()):
        kept = season.archive.set_aside(name, shot.taken_at, data, facts.suffix)
        shot.filed()
        raise CameraError(
            f'camera "{name}" gave a frame dated {shot.taken_at:%Y-%m-%d %H:%M} UTC, which cannot '
            f"be true; it is kept aside as {kept.path}. Check the camera's and this machine's clock"
        )
    kept = season.archive.store(name, shot.taken_at, data, facts.suffix)
    shot.filed()
    frame = described(kept, data, season.day_of, "capture", facts)
    season.catalogue.add_frames([frame])
    return Captured(frame, kept.new, shot.notes)


def capture_undated(season: Season, name: str, camera: Camera, machine: Machine) -> str:
    """Take one frame while the time of day is not known, and keep it apart; its path.

    Raises as `capture`.
    """
    require_room(season.folder, season.settings.capture.keep_free_mb, is_daily=False)
    since_boot = machine.since_boot()
    shot = camera.take(season.clock())
    facts, data = _looked_over(season, name, shot, None)
    return keep_waiting(season, name, machine, since_boot, data, facts.suffix)


def _looked_over(
    season: Season, name: str, shot: Shot, taken_at: datetime | None
) -> tuple[PictureFacts, bytes]:
    """What a picture says of itself, and the picture as it is filed.

    Frames that are played again were finished long ago.
    """
    model = season.settings.cameras[name]
    try:
        facts = inspect(shot.data)
        data = finished(
            shot.data,
            taken_at=taken_at,
            zone=season.zone,
            camera=name,
            privacy=model.privacy,
            privacy_size_px=model.privacy_size_px,
            as_it_is=model.kind in ("files", "replay"),
        )
    except PictureError as error:
        raise CameraError(f'camera "{name}" gave no usable picture: {error}') from error
    return facts, data
