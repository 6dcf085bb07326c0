"""``[film]`` of season.toml: how films look, and the cuts that are made by name."""

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from lapsekit.settings.values import Day, Model, Name

Seconds = Annotated[float, Field(gt=0, le=3600, strict=False)]
Shown = Literal["date", "curve", "diary", "names", "thread"]
Corner = Literal["lower-left", "lower-right", "upper-left", "upper-right"]
File = Literal["small", "master", "stills", "teaser"]
Kind = Literal["season", "recent", "region", "together", "then-and-now", "day"]


class Look(Model):
    """What any cut may say of itself; what it does not say, ``[film]`` says for all.

    Attributes
    ----------
    frames : {"daily", "all", "alike"}
        Of each day its daily picture, every usable frame, or the one whose light is most like
        that of the days around it.
    shape : {"picture", "wide", "square", "upright"}
        As the camera's pictures, 16:9, 1:1 or 9:16.
    short_side_px : int
        The shorter side of the film.
    frames_per_second : int
    day_seconds : float, optional
        How long a day of the season lasts in the film, at an even pace.
    length_seconds : float, optional
        How long the whole lasts, instead.
    pace : {"time", "growth", "events"}
        Each day alike; each second the same gain of canopy; or slow where the diary tells of acts.
    between : {"fade", "hold", "motion"}
        How one picture gives way to the next: fades, at once, or moves.
    steady, even_light : bool
        Whether the camera's movements, and flicker of light and colour, are taken out.
    fit : {"fill", "whole"}
        Another shape than the camera's: cut to it, or the whole picture on paper.
    shows : tuple
        What stands on the picture.
    date_at : {"lower-left", "lower-right", "upper-left", "upper-right"}, optional
        The corner of the day's sheet; by default the one where it hides least of the plants.
    until : date, optional
        Where the thread of the season ends; the last day by default.
    files : tuple
        What is made beside the film for the web.
    small : {"av1", "hevc"}
    master : {"prores", "h264"}
    teaser : {"webp", "gif"}
    encoder : {"software", "hardware"}
    """

    frames: Literal["daily", "all", "alike"] = "daily"
    shape: Literal["picture", "wide", "square", "upright"] = "picture"
    short_side_px: Annotated[int, Field(ge=120, le=2160)] = 720
    frames_per_second: Annotated[int, Field(ge=1, le=60)] = 24
    day_seconds: Seconds | None = None
    length_seconds: Seconds | None = None
    pace: Literal["time", "growth", "events"] = "time"
    between: Literal["fade", "hold", "motion"] = "fade"
    steady: bool = True
    even_light: bool = True
    fit: Literal["fill", "whole"] = "fill"
    shows: Annotated[tuple[Shown, ...], Field(strict=False)] = ("date", "diary")
    date_at: Corner | None = None
    until: Day | None = None
    files: Annotated[tuple[File, ...], Field(strict=False)] = ()
    small: Literal["av1", "hevc"] = "av1"
    master: Literal["prores", "h264"] = "prores"
    teaser: Literal["webp", "gif"] = "webp"
    encoder: Literal["software", "hardware"] = "software"

    @model_validator(mode="after")
    def _one_length(self) -> Self:
        if self.day_seconds is not None and self.length_seconds is not None:
            raise ValueError("give day_seconds or length_seconds, not both")
        return self


class Cut(Look):
    """One cut: what it shows, and what it says of its look.

    Attributes
    ----------
    kind : {"season", "recent", "region", "together", "then-and-now", "day"}
        The whole season; its last days; one region, followed; several regions side by side in
        step by plant age; an earlier season beside this one; one day from dawn to dusk.
    camera : str, optional
        The season's first by default; that of the region for regions.
    since : date, optional
        First day of a season's cut.
    days : int, optional
        How many days are the last ones; seven by default.
    day : date, optional
        The day that is shown; the latest by default.
    regions : tuple of str
        One name for a region, two to six for regions together.
    on_site : bool
        Whether the season site shows it, below the whole season.
    """

    kind: Kind = "season"
    camera: Name | None = None
    since: Day | None = None
    days: Annotated[int, Field(ge=1, le=366)] | None = None
    day: Day | None = None
    regions: Annotated[tuple[str, ...], Field(strict=False, max_length=6)] = ()
    on_site: bool = False

    @model_validator(mode="after")
    def _only_its_own(self) -> Self:
        own = {"season": {"since"}, "recent": {"days"}, "day": {"day"}}.get(self.kind, {"regions"})
        if self.kind == "then-and-now":
            own = set()
        for key in ("since", "days", "day", "regions"):
            if getattr(self, key) and key not in own:
                raise ValueError(f'{key} says nothing to a cut of kind "{self.kind}"')
        least = {"region": 1, "together": 2}.get(self.kind, 0)
        if len(self.regions) < least or (self.kind == "region" and len(self.regions) != 1):
            wanted = "one region" if self.kind == "region" else "two to six regions"
            raise ValueError(f'a cut of kind "{self.kind}" names {wanted} in regions')
        return self


class FilmTable(Look):
    """``[film]``: what holds for all cuts, when they are made, and the cuts by name.

    Attributes
    ----------
    weekly : tuple of str
        Cuts that ``lapsekit run`` makes once a week.
    weekly_on : str
    cuts : dict of str to Cut
    """

    weekly: Annotated[tuple[Name, ...], Field(strict=False)] = ("season",)
    weekly_on: Literal[
        "never", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"
    ] = "sunday"
    cuts: Annotated[dict[Name, Cut], Field(default_factory=dict)]

    @model_validator(mode="after")
    def _plain_names_mean_what_they_say(self) -> Self:
        for name, cut in self.cuts.items():
            if name in _PLAIN and cut.kind != name:
                raise ValueError(
                    f'cuts.{name}: its kind is "{cut.kind}"; a cut called {name} has kind = '
                    f'"{name}", call others otherwise'
                )
        return self

    @model_validator(mode="after")
    def _weekly_known(self) -> Self:
        for name in self.weekly:
            if name not in self.known:
                raise ValueError(
                    f'weekly: no cut "{name}" in [film.cuts]; there is {", ".join(self.known)}'
                )
        return self

    @property
    def known(self) -> dict[str, Cut]:
        """Cuts by name, those included that need no line: season, recent, day."""
        return {kind: Cut(kind=kind) for kind in _PLAIN} | self.cuts

    def resolved(self, cut: Cut, /, **said: Any) -> Cut:
        """A cut with all that ``[film]`` says for it, and above both what the caller says.

        Raises
        ------
        ValidationError
            If what the caller says cannot be.
        """
        usual = _FEW_DAYS.get(f"{said.get('kind', cut.kind)}", {})
        whole = {
            key: getattr(self, key) for key in self.model_fields_set & Look.model_fields.keys()
        }
        if usual:
            whole = {k: v for k, v in whole.items() if k not in ("frames", *_LENGTHS)}
        own = {key: getattr(cut, key) for key in cut.model_fields_set}
        merged: dict[str, Any] = {"day_seconds": DAY_SECONDS}
        for layer in (usual, whole, own, said):
            if layer.keys() & set(_LENGTHS):
                merged = {k: v for k, v in merged.items() if k not in _LENGTHS}
            merged |= layer
        return Cut.model_validate(merged)


DAY_SECONDS = 0.4
_PLAIN = ("season", "recent", "day")
_LENGTHS = ("day_seconds", "length_seconds")
_FEW_DAYS: dict[str, dict[str, Any]] = {
    "recent": {"day_seconds": 2.0, "frames": "all"},
    "day": {"day_seconds": 15.0, "frames": "all"},
}
"""What cuts of few days have, whatever ``[film]`` says of frames and length for long ones."""
