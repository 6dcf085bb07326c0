"""The numbers of each chart as a table of its own: what is drawn, and no more."""

from collections.abc import Sequence

from lapsekit.site.curves import UNITS, PlantCurve, every_day
from lapsekit.tables import Column, Table
from lapsekit.when import plant_age

_NONE = (None, None, None)
_SUFFIX = {"cm²": ("cm2", "cm2"), "%": ("percent", "%")}
_WHAT = (
    ("", "low", "lower end of the day's 95 % interval"),
    ("", "", "what the day's usable frames agree on"),
    ("", "high", "upper end of the day's 95 % interval"),
    ("curve", "low", "lower end of the smooth curve's 95 % band"),
    ("curve", "", "the smooth curve through all days"),
    ("curve", "high", "upper end of the smooth curve's 95 % band"),
)


def overview_name(unit: str) -> str:
    """``canopy-cm2``: the table of all plants of this unit."""
    return f"canopy-{_SUFFIX[unit][0]}"


def plant_name(curve: PlantCurve) -> str:
    """``plant-basil``: the table of one plant."""
    return f"plant-{column_name(curve)}"


def column_name(curve: PlantCurve) -> str:
    """The name of the plant's page: its own, or one that its group shares with no other."""
    return curve.page


def curve_tables(curves: Sequence[PlantCurve]) -> list[Table]:
    """A table for the chart of all plants of a unit, and one for each plant by itself."""
    found = []
    for unit in UNITS:
        drawn = [c for c in curves if c.in_overview and c.unit == unit and c.is_measured]
        if drawn:
            found.append(_wide(drawn, unit))
    return [*found, *(_narrow(curve) for curve in curves if curve.is_measured)]


def _wide(curves: Sequence[PlantCurve], unit: str) -> Table:
    columns = [Column("day", "date", "local calendar day")]
    for curve in curves:
        columns += _columns(f"{column_name(curve)}_", unit, curve)
    rows = [
        (day, *(number for curve in curves for number in _numbers(curve, day)))
        for day in every_day(curves)
    ]
    title = f"Canopy of all plants, in {unit}"
    return Table(overview_name(unit), title, ("day",), tuple(columns), rows)


def _narrow(curve: PlantCurve) -> Table:
    columns = (
        Column("day", "date", "local calendar day"),
        Column("plant_age_days", "integer", "days since sowing", "d"),
        *_columns("", curve.unit, curve),
        Column("outlying", "integer", "1 where the curve passes over the day's value, 0 where not"),
    )
    rows = [
        (
            *(day, plant_age(day, curve.sown), *_numbers(curve, day)),
            int(day in curve.outlying) if curve.values.get(day, _NONE)[1] is not None else None,
        )
        for day in every_day([curve])
    ]
    return Table(plant_name(curve), f"Canopy of {curve.title}", ("day",), columns, rows)


def _columns(prefix: str, unit: str, curve: PlantCurve) -> list[Column]:
    suffix, ucum = _SUFFIX[unit]
    found = []
    for kind, end, about in _WHAT:
        if curve.mean_of:
            if kind:
                continue
            about = {"low": "smallest plant", "": "mean of the plants", "high": "largest plant"}[
                end
            ]
        name = "_".join(filter(None, (kind, end, suffix)))
        found.append(Column(f"{prefix}{name}", "number", f"{curve.title}: {about}", ucum))
    return found


def _numbers(curve: PlantCurve, day) -> tuple[float | None, ...]:
    smooth = () if curve.mean_of else curve.curve.get(day, _NONE)
    return (*curve.values.get(day, _NONE), *smooth)
