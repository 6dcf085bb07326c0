"""Times as loggers write them: many forms, often without an offset, twice the same in autumn."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from lapsekit.when import EARLIEST_YEAR

_HOUR = timedelta(hours=1)
_FORMS = ("%Y/%m/%d %H:%M:%S", "%Y/%m/%d %H:%M", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M")


class LoggerClock:
    """Turns a logger's times into instants, row by row, in order of time.

    Parameters
    ----------
    zone : zoneinfo.ZoneInfo
        Of times without an offset.
    form : str, optional
        strptime fields; without it ISO 8601, year/month/day and day.month.year are understood.
    """

    def __init__(self, zone: ZoneInfo, form: str | None):
        self._zone, self._forms, self._given = zone, [form] if form else list(_FORMS), form
        self._last: datetime | None = None

    def instant(self, text: str) -> tuple[datetime, bool]:
        """UTC instant of a cell, and whether it had an offset of its own.

        Raises
        ------
        ValueError
            Says what is wrong with it.
        """
        moment = self.parsed(text)
        if moment.year < EARLIEST_YEAR:
            raise ValueError(f"is before {EARLIEST_YEAR}: the logger's clock was never set")
        if moment.tzinfo is not None:
            return moment.astimezone(UTC), True
        local = moment.replace(tzinfo=self._zone)
        # A clock put back repeats an hour: rows that do not go on from the last are its second.
        twice = local.utcoffset() != local.replace(fold=1).utcoffset()
        found = local.astimezone(UTC)
        if found.astimezone(self._zone).replace(tzinfo=None) != moment:
            raise ValueError(
                "is an hour that summer time skips; if the logger keeps winter time all year, name "
                "a zone without summer time, like --zone Etc/GMT-1"
            )
        if twice and self._last is not None and found <= self._last < found + _HOUR:
            found = local.replace(fold=1).astimezone(UTC)
        self._last = found
        return found, False

    def parsed(self, text: str) -> datetime:
        """The time as it is written; raises as `instant` does."""
        if not text:
            raise ValueError("is empty")
        for form in self._forms:
            try:
                return datetime.strptime(text, form)
            except ValueError:
                continue
        try:
            if self._given is None:
                return datetime.fromisoformat(text)
        except ValueError:
            pass
        if self._given:
            raise ValueError(f"does not fit --time-form {self._given}")
        raise ValueError(
            "is no time that can mean one moment only; say how it is written with --time-form, "
            "like %d/%m/%Y %H:%M or %m/%d/%Y %I:%M %p"
        )
