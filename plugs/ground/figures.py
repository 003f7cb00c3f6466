"""Figures as the summary and its tables hold them: the one rounding, by the unit in a figure's key."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from plugs.ground.errors import promise
from plugs.ground.records import record

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

DECIMAL: Final = "%.14g"
"""Form of a number that is `rounded`: it has fewer digits, and ends at the last that is not 0."""

_LAST_BIT: Final = 1e-4
"""Of a step: so near to the middle between two, a product's last bit may fall on the wrong side."""

_DIGITS: Final = 9
"""In the summary: programs read it, and the last of a float's 16 differ by machine."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Quantity:
    """How a quantity is told.

    Attributes
    ----------
    unit : str
        As it stands beside a number for a person; empty without one.
    table : int, dimensionless
        Decimals in tables for spreadsheets and programs.
    bench : int, dimensionless
        Decimals in tables that hang on the wall.
    bench_scale : float, dimensionless
        What the bench's unit is smaller by: grams for kg.
    is_trimmed : bool
        Whether whole numbers are told whole in tables.
    finest : int, dimensionless
        Decimals in the summary: what is finer is left by sums that cancel, and differs by machine.
    """

    unit: str = ""
    table: int
    bench: int
    bench_scale: float = 1.0
    is_trimmed: bool = False
    finest: int = 12


LENGTH: Final = Quantity(unit="mm", table=4, bench=2, finest=6)
"""Outlines join within 0.0001 mm, and a caliper reads 0.01 mm; a nanometre is no length of foam."""

SHARE: Final = Quantity(table=4, bench=2)
"""Per cent at the bench."""

MONEY: Final = Quantity(table=2, bench=2)
"""Hundredths, as prices are written."""

STRETCH: Final = Quantity(table=3, bench=3)
"""Of cloth: a thousandth is 1 mm in a metre."""

BARE: Final = Quantity(table=4, bench=4)
"""What has no unit: a direction, a bulge."""

_AMOUNT: Final = Quantity(table=3, bench=3)  # of what is bought, in its unit: a gram of a kg, a mm of a m
_MINUTES: Final = Quantity(unit="min", table=0, bench=0)  # no pot life is known closer

QUANTITIES: Final[Mapping[str, Quantity]] = {
    "_mm": LENGTH,
    "_deg": Quantity(unit="°", table=4, bench=2, finest=6, is_trimmed=True),  # 0.0001: 0.005 mm on a sheet
    "_kg_m3": Quantity(unit="kg/m³", table=1, bench=0),  # no data sheet gives a density closer
    "_kg_m2": Quantity(unit="kg/m²", table=4, bench=3),  # a gram on a m²
    "_g_m2": Quantity(unit="g/m²", table=0, bench=0),  # cloth is sold by whole grams
    "_m2": Quantity(unit="m²", table=6, bench=3),  # a mm²; 10 cm², which take a gram of resin
    "_m3": Quantity(unit="m³", table=9, bench=6),  # a mm³; a ml
    "_m": Quantity(unit="m", table=3, bench=1),  # a mm; rolls are bought by 0.1 m
    "_kg": Quantity(unit="kg", table=4, bench=1, bench_scale=1e3),  # 0.1 g, which scales for resin show
    "_g": Quantity(unit="g", table=1, bench=1),  # the same
    "_l": Quantity(unit="l", table=4, bench=3),  # 0.1 ml; a ml
    "_ml": Quantity(unit="ml", table=1, bench=1),  # a line of a syringe
    "_c": Quantity(unit="°C", table=1, bench=0),  # a shop's thermometer
    "_n": Quantity(unit="N", table=1, bench=0),  # a hand's load
    "_percent": Quantity(unit="%", table=2, bench=1),  # doses are given so
    "stretch_min": STRETCH,
    "stretch_max": STRETCH,
    "_s": Quantity(unit="s", table=2, bench=1),  # called by a person
    "_min": _MINUTES,
    "minutes": _MINUTES,
    "_ratio": SHARE,
    "glass_content": Quantity(table=4, bench=2),  # as data sheets write it, 0.48
    "price": MONEY,
    "total": MONEY,
    "needed": _AMOUNT,
    "bought": _AMOUNT,
    "size": _AMOUNT,
}
"""Quantities by how the keys of their figures end; the first ending that fits counts."""


@lru_cache(maxsize=4096)
def ending_of(key: str) -> str:
    """Return the ending by which a figure's key names its quantity.

    Parameters
    ----------
    key : str
        As in summary.json, ``"saw_line_area_m2"``.

    Returns
    -------
    str
        ``"_m2"``; empty for what is counted, named or bare.
    """
    ends = (key, key.partition("_by_")[0])  # "area_m2_by_mesh": by which way it was found
    return next((unit for unit in QUANTITIES if any(end.endswith(unit) for end in ends)), "")


def told(value: object, key: str = "") -> Any:
    """Return figures as summary.json holds them: 9 significant digits, none finer than the quantity's finest.

    Parameters
    ----------
    value : object
        A figure, or rows and mappings of them, however deep.
    key : str
        Of the figure; what has no unit in its own key has that of what it stands in.

    Returns
    -------
    object
        Lists, dicts and plain values. A count and a word stay what they are.

    Raises
    ------
    AssertionError
        A figure is not finite.
    """
    if value is None or isinstance(value, str | bool):
        return value
    if not isinstance(value, float | int):  # most are: asking whether they hold others takes longer
        if isinstance(value, Mapping):
            return {name: told(one, name if ending_of(name) else key) for name, one in value.items()}
        if isinstance(value, Iterable):
            return [told(one, key) for one in value]
    quantity = QUANTITIES.get(ending_of(key))
    if isinstance(value, int) and quantity is None:
        return value
    number = float(value)  # type: ignore[arg-type]
    promise(math.isfinite(number), f"{key}: a figure of the summary is not finite")
    size = 0 if number == 0.0 else math.floor(math.log10(abs(number))) + 1
    return round(number, min((quantity or BARE).finest, _DIGITS - size)) + 0.0


def cell(value: object, key: str, *, bench: bool = False, unknown: str = "") -> str:
    """Return a figure as the cell of a table.

    Parameters
    ----------
    value : object
        A figure, a word, a row of words, or None.
    key : str
        Of the figure, with its unit.
    bench : bool
        Whether the table hangs on the wall.
    unknown : str
        What stands for None.

    Returns
    -------
    str
        Never a negative zero.
    """
    if value is None:
        return unknown
    quantity = QUANTITIES.get(ending_of(key))
    if isinstance(value, str) or (isinstance(value, int) and quantity is None):
        return str(value)
    if isinstance(value, Iterable):
        return ", ".join(value)
    quantity = quantity or BARE
    decimals = quantity.bench if bench else quantity.table
    number = float(value) * (quantity.bench_scale if bench else 1.0)  # type: ignore[arg-type]
    text = f"{round(number, decimals) + 0.0:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if quantity.is_trimmed else text


def tenth_up(size: float) -> float:
    """Return a size rounded up to 0.1 mm, so that whoever follows it has no less.

    Parameters
    ----------
    size : float, mm

    Returns
    -------
    float, mm
    """
    return math.ceil(10.0 * size - 1e-6) / 10.0


def rounded(values: NDArray[float64], digits: int) -> NDArray[float64]:
    """Return many numbers rounded as text rounds them, each by its own last bit; none is -0.

    Parameters
    ----------
    values : (...) float, any unit
    digits : int, dimensionless
        Decimals.

    Returns
    -------
    (...) float, any unit
    """
    import numpy as np

    steps = values * 10.0**digits
    found = np.rint(steps)
    near = np.nonzero(np.abs(np.abs(steps - found) - 0.5) < _LAST_BIT)
    found /= 10.0**digits
    found[near] = [round(value, digits) for value in values[near].tolist()]
    return np.asarray(found + 0.0)
