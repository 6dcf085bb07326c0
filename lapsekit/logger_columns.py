"""What a logger calls its columns, as the grower names them."""

from collections.abc import Sequence
from dataclasses import dataclass

from lapsekit.errors import SettingsError
from lapsekit.logger_header import TIME
from lapsekit.logger_units import require_unit
from lapsekit.weather import VALUES


@dataclass(frozen=True)
class Columns:
    """What a logger calls its columns, and how it writes times.

    `time` and `temp` are needed. Times may stand in two columns, the day in the first; `form` holds
    strptime fields where they are written in a way that could mean two days. `temp_unit`, a key of
    `TO_CELSIUS`, stands above what the column's name tells.
    """

    time: tuple[str, ...]
    temp: str
    humidity: str | None = None
    light: str | None = None
    form: str | None = None
    temp_unit: str | None = None

    def __post_init__(self) -> None:
        for value, option in (("humidity", "--humidity"), ("light", "--light")):
            require_unit(value, self.by_value.get(value, ""), option)

    @property
    def by_value(self) -> dict[str, str]:
        """The logger's column of each value that it has."""
        named = dict(zip(VALUES, (self.temp, self.humidity, self.light), strict=True))
        return {value: name for value, name in named.items() if name is not None}

    @property
    def wanted(self) -> list[tuple[str, str]]:
        """The logger's columns, each after the option of ``lapsekit weather`` that names it."""
        options = ("--temp", "--humidity", "--light")
        named = zip(options, (self.temp, self.humidity, self.light), strict=True)
        times = [(TIME, name) for name in self.time]
        return times + [(option, name) for option, name in named if name is not None]

    @property
    def times_named(self) -> str:
        """The column of times, or both, as one name."""
        return " + ".join(self.time)


def times_named(names: Sequence[str]) -> tuple[str, ...]:
    """The columns of times that ``--time`` names: ``time`` unless it is given, two at most.

    Raises
    ------
    SettingsError
        If there are more, or one is named twice.
    """
    if len(names) > 2 or len(set(names)) < len(names):
        raise SettingsError(
            f"{TIME} {', '.join(names)}: give one column, or that of days and that of times of day"
        )
    return tuple(names) or ("time",)
