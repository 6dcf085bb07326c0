"""What a worker is told, and the season as a ruler sees it there: no folder, no catalogue file."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from lapsekit.catalogue import Frame
from lapsekit.errors import ArchiveError
from lapsekit.frames.archive import content_hash
from lapsekit.frames.far import FarFrames
from lapsekit.ruler import Known, Ruler
from lapsekit.settings import Camera, FilesCamera, Regions, SeasonTable, Settings

_TRIES = 2
_NOT_SENT = {"kind", "reference", "privacy", "privacy_size_px"}


@dataclass(frozen=True)
class Place:
    """Where frames lie, and the versions that whoever reads them there must have."""

    frames: FarFrames
    versions: Mapping[str, str]


@dataclass(frozen=True)
class Job:
    """Everything that shapes a measurement, the same for all batches of a run.

    Attributes
    ----------
    place : Place
    settings : Settings
        The parts that shape a number, of the cameras concerned.
    regions : Regions
        Those that these cameras see.
    known : Known
        Model, colours taught, reference frames.
    """

    place: Place
    settings: Settings
    regions: Regions
    known: Known


@dataclass(frozen=True)
class Batch:
    """Frames of one camera and day that are measured together.

    Attributes
    ----------
    camera : str
    day : datetime.date
    of_day : tuple of Frame
        All frames of the day, in order of time: one may be looked for where an earlier one lies.
    wanted : tuple of Frame
        Those to be measured.
    """

    camera: str
    day: date
    of_day: tuple[Frame, ...]
    wanted: tuple[Frame, ...]

    def __str__(self) -> str:
        return f"frames of {self.camera} on {self.day}"


def job_of(ruler: Ruler, cameras: Sequence[str], place: Place) -> Job:
    """The job of measuring frames of some cameras as a ruler would."""
    season = ruler.season
    whole = season.settings
    settings = Settings(
        season=SeasonTable(
            title="season", time_zone=whole.season.time_zone, sown=whole.season.sown
        ),
        cameras={name: _sent(whole.cameras[name]) for name in cameras},
        registration=whole.registration,
        canopy=whole.canopy,
    )
    seen = tuple(r for r in season.regions.region if r.camera in cameras)
    regions = season.regions.model_copy(update={"region": seen})
    return Job(place, settings, regions, ruler.known_of(cameras))


def _sent(camera: Camera) -> FilesCamera:
    """A camera's scale and lens, without how it is reached."""
    wanted = set(FilesCamera.model_fields) - _NOT_SENT
    return FilesCamera(kind="files", **camera.model_dump(include=wanted, exclude_none=True))


class Bench:
    """What a ruler asks of a season, out of a job and a batch.

    Parameters
    ----------
    job : Job
    batch : Batch
    """

    folder = Path()

    def __init__(self, job: Job, batch: Batch):
        self.settings, self.regions = job.settings, job.regions
        self.catalogue = _Listed(batch)
        references = [frame for frame, _ in job.known.views.values() if frame is not None]
        self.archive = _Checked(job.place.frames, [*batch.of_day, *references])


class _Listed:
    """The frames of one camera and day, as a catalogue gives them."""

    def __init__(self, batch: Batch):
        self._batch = batch

    def frames(self, camera: str, day: date) -> list[Frame]:
        assert (camera, day) == (self._batch.camera, self._batch.day)
        return list(self._batch.of_day)


class _Checked:
    """Frames read where they lie; other bytes than those in the catalogue are refused."""

    def __init__(self, frames: FarFrames, known: Sequence[Frame]):
        self._frames = frames
        self._known = {frame.path: frame for frame in known}

    def read(self, path: str) -> bytes:
        known = self._known[path]
        for _ in range(_TRIES):
            data = self._frames.read(path)
            if content_hash(data) == known.sha256:
                return data
        raise ArchiveError(
            f"{self._frames.at}: {path} is another file there than the catalogue knows (it has "
            f"{len(data)} bytes, {known.size} were expected); bring the right one there, or run "
            "lapsekit index --rebuild if that one is right"
        )
