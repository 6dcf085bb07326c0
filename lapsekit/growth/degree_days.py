"""Degree days of one day from its lowest and highest temperature, in °C · days."""

from math import asin, cos, pi


def degree_days_average(
    min_c: float, max_c: float, base_c: float, cap_c: float | None = None
) -> float:
    """Degree days of one day by its average temperature, °C · days.

    max(0, (Tmax + Tmin) / 2 - base), extremes above the cap taken as the cap (McMaster & Wilhelm
    1997, Agricultural and Forest Meteorology 87: 291-300, their first method).

    Parameters
    ----------
    min_c, max_c : float
        The day's extremes, °C.
    base_c : float
        Below it the crop does not develop.
    cap_c : float, optional
        Above it the crop develops no faster.

    Raises
    ------
    ValueError
        If the minimum is above the maximum, or the cap is not above the base.
    """
    _require_degrees(min_c, max_c, base_c, cap_c)
    if cap_c is not None:
        min_c, max_c = min(min_c, cap_c), min(max_c, cap_c)
    return max(0.0, (min_c + max_c) / 2 - base_c)


def degree_days_sine(
    min_c: float, max_c: float, base_c: float, cap_c: float | None = None
) -> float:
    """Degree days of one day by a single sine through its extremes, °C · days.

    The area between sine and base (Baskerville & Emin 1969, Ecology 50: 514-517) less that above
    the cap: a horizontal cut-off (Allen 1976, Environmental Entomology 5: 388-396). It counts the
    warm afternoon of a day whose average lies below the base. Parameters and errors as for
    `degree_days_average`.
    """
    _require_degrees(min_c, max_c, base_c, cap_c)
    above_cap = _sine_above(min_c, max_c, cap_c) if cap_c is not None else 0.0
    return _sine_above(min_c, max_c, base_c) - above_cap


def _sine_above(min_c: float, max_c: float, threshold_c: float) -> float:
    middle, half = (max_c + min_c) / 2, (max_c - min_c) / 2
    if threshold_c <= min_c:
        return middle - threshold_c
    if threshold_c >= max_c:
        return 0.0
    angle = asin((threshold_c - middle) / half)
    return ((middle - threshold_c) * (pi / 2 - angle) + half * cos(angle)) / pi


def _require_degrees(min_c: float, max_c: float, base_c: float, cap_c: float | None) -> None:
    if not min_c <= max_c:
        raise ValueError(f"a minimum of {min_c:g} °C above a maximum of {max_c:g} °C cannot be")
    if cap_c is not None and not cap_c > base_c:
        raise ValueError(f"a cap of {cap_c:g} °C must lie above the base of {base_c:g} °C")
