"""Everything that can go wrong, as one tree.

    LapsekitError
    ├── SettingsError      a settings or regions file cannot be used as it is
    ├── SeasonError        the folder is not a season folder, or is held by another stage
    │   ├── SeasonBusy     another lapsekit process holds the season's stage lock
    │   └── Unwritable     this user cannot write into the season folder, or nobody can now
    ├── NotTrusted         the folder wants to act, and came from somebody else
    ├── PictureError       bytes that should be a picture are not a usable one
    ├── ArchiveError       a frame could not be stored or read back
    ├── CatalogueError     the catalogue is damaged, too new, or could not be written
    ├── CameraError        a camera gave no picture
    │   ├── NothingNew     it has none that it did not give before; no fault
    │   │   └── LeftOut    but files lie there that cannot be used as they are
    │   ├── CameraBusy     another process asks it, and does not let go of it
    │   └── CameraGone     it cannot be read at all now; asking again at once does not help
    ├── FilmError          a film could not be made
    ├── SiteError          a page could not be made
    ├── PublishError       a site could not be brought to where readers find it
    ├── FollowerError      a follower's picture cannot be taken in, or not be shown
    ├── ChangedMeanwhile   somebody else changed a text since it was read; nothing was written
    ├── CopyError          frames could not be copied elsewhere, or not brought back from there
    ├── ClusterError       work on other machines could not be done; what came back is kept
    │   └── ClusterGone    no machine is left to work on, or none can do any work
    ├── TransferError      files did not get there or back; worth another attempt
    └── MissingExtra       an optional library is not installed

Every message says what happened, to which file, and what to do next. The command line prints
it and exits with the class's `exit_code`; the numbers follow BSD ``sysexits.h``.
"""


class LapsekitError(Exception):
    """Base of every error that lapsekit raises on purpose."""

    exit_code = 1


class SettingsError(LapsekitError):
    """A settings file holds something that cannot be used; names file, key and value."""

    exit_code = 78


class SeasonError(LapsekitError):
    """A folder cannot be opened as a season."""

    exit_code = 66


class SeasonBusy(SeasonError):
    """Another process is working on the season; names its stage and process number."""

    exit_code = 75


class Unwritable(SeasonError):
    """What was asked for writes into a season folder that cannot be written to."""

    exit_code = 74


class NotTrusted(LapsekitError):
    """A season folder wants to run a program or act outside of itself; nobody said it may."""

    exit_code = 77


class PictureError(LapsekitError):
    """Bytes that are not a usable picture: truncated, empty, too large or of another kind."""

    exit_code = 65


class ArchiveError(LapsekitError):
    """A frame could not be stored or read; what was stored before stays as it was."""

    exit_code = 74


class CatalogueError(LapsekitError):
    """The catalogue could not be opened or written; it can always be made again."""

    exit_code = 74


class CameraError(LapsekitError):
    """A camera gave no picture; says what to check."""

    exit_code = 69


class NothingNew(CameraError):
    """A camera has no picture that it did not give before: a folder, or a season played again."""


class LeftOut(NothingNew):
    """None but files that cannot be used as they are and as the settings stand."""


class CameraBusy(CameraError):
    """Another process asks the camera, and does not let go of it."""


class CameraGone(CameraError):
    """What pictures come from cannot be read now, a folder say; says what to check."""


class FilmError(LapsekitError):
    """A film could not be made; a finished film of the same name stays as it was."""

    exit_code = 65


class SiteError(LapsekitError):
    """A site could not be built."""

    exit_code = 65


class PublishError(LapsekitError):
    """A site could not be published; what readers can reach stays whole."""

    exit_code = 69


class FollowerError(LapsekitError):
    """A follower's picture cannot be taken in, or not be shown; says why."""

    exit_code = 65


class ChangedMeanwhile(LapsekitError):
    """A text of the season was changed by somebody else since it was read; it stays as it is."""

    exit_code = 75


class CopyError(LapsekitError):
    """A season could not be copied or restored; what was copied before stays as it was."""

    exit_code = 69


class ClusterError(LapsekitError):
    """A cluster could not be reached, must not be used, or gave up; what came back is kept."""

    exit_code = 69


class ClusterGone(ClusterError):
    """Scheduler or workers are gone, or cannot load lapsekit; other work would meet the same."""


class TransferError(LapsekitError):
    """Files did not get to the far side, or back; another attempt may go well."""

    exit_code = 75


class MissingExtra(LapsekitError):
    """An optional library is missing; names the extra that brings it."""

    exit_code = 69

    def __init__(self, what: str, extra: str):
        super().__init__(
            f"{what} needs the extra [{extra}]; in the checkout: "
            f"pip install -c config/constraints.txt '.[{extra}]'"
        )
