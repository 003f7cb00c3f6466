"""Figures that are no lengths, as a person reads them: to three digits, in inches with feet and pounds."""

from __future__ import annotations

import math
from typing import Final

from plugs.ground.figures import BARE, MONEY, QUANTITIES, SHARE, STRETCH, cell, ending_of

MM_PER_FOOT: Final = 304.8
"""The foot of the international agreement of 1959, 0.3048 m (from memory)."""

KG_PER_POUND: Final = 0.45359237
"""The pound of the same agreement (from memory)."""

_FEET: Final = {"m": ("m", 1.0, "ft", 1), "m²": ("m²", 1.0, "sq ft", 2), "m³": ("l", 1e3, "cu ft", 3)}
"""What metres, their squares and cubes are told in, how many to one, and the same in feet with its power."""


_SMALLER: Final = {"m": "mm", "l": "ml"}
"""What less than one of a unit is told in, a thousand to one."""


def amount(name: str, value: float, unit: str) -> str:
    """Return a number that is no length of the part, by the unit in its name.

    Parameters
    ----------
    name : str
        As in summary.json, ``"saw_line_area_m2"``.
    value : float, in the unit of its name
    unit : str
        ``"mm"`` or ``"in"``; in inches, metres and masses are told in feet and pounds as well.

    Returns
    -------
    str
    """
    found = QUANTITIES.get(ending_of(name), BARE)
    if found in (MONEY, STRETCH):
        return cell(value, name)
    if found is SHARE:
        return f"{100.0 * value:.0f} %"
    if found.unit in ("kg", "g"):
        return _mass(value if found.unit == "kg" else value / 1000.0, unit)
    if found.unit in _FEET:
        metric, scale, feet, power = _FEET[found.unit]
        more = f" ({_digits((1e3 / MM_PER_FOOT) ** power * value)} {feet})" if unit == "in" else ""
        small, told = _SMALLER.get(metric, ""), scale * value
        if small and 0.0 < abs(told) < 1.0:
            return f"{1e3 * told:.0f} {small}{more}"
        return f"{_digits(told)} {metric}{more}"
    return f"{_digits(value)}{' ' if found.unit not in ('', '°') else ''}{found.unit}"


def _mass(kg: float, unit: str) -> str:
    """Return a mass in grams below a kilogram; in pounds or ounces as well where lengths are in inches."""
    pounds = kg / KG_PER_POUND
    more = f" ({_digits(pounds)} lb)" if abs(pounds) >= 1.0 else f" ({_digits(16.0 * pounds)} oz)"
    mass = f"{_digits(kg)} kg" if abs(kg) >= 1.0 else f"{_digits(1000.0 * kg)} g"
    return mass + (more if unit == "in" else "")


def _digits(value: float) -> str:
    """Return a number to three digits, whole numbers whole."""
    value = float(f"{value:.3g}") if abs(value) < 1000.0 else round(value)
    if float(value).is_integer():
        return f"{value:.0f}"
    return f"{value:.{max(0, 2 - math.floor(math.log10(abs(value))))}f}"


def counted(count: int, one: str, many: str = "") -> str:
    """Return how many there are of a thing, in words that fit one and many.

    Parameters
    ----------
    count : int, dimensionless
    one : str
        ``"sheet"``.
    many : str
        The word for none or several, where it is not the first with an s.

    Returns
    -------
    str
        ``"1 sheet"``, ``"6 sheets"``.
    """
    return f"{count} {one if count == 1 else many or f'{one}s'}"
