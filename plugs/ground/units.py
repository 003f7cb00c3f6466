"""Lengths as people write them: read from text, turned to mm, and printed again.

The inch is 25.4 mm exactly, the foot 12 inches (international yard and pound agreement, 1959).
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from typing import Final

from plugs.ground.errors import PlugError

_MM_PER: Final = {"mm": 1.0, "cm": 10.0, "m": 1000.0}
_UNIT_WORDS: Final = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "in": "in", "inch": "in", "inches": "in", '"': "in",
    "ft": "ft", "foot": "ft", "feet": "ft", "'": "ft",
}  # fmt: skip
_SIGNS_AND_MARKS: Final = str.maketrans(
    {"\u2212": "-", "\u2032": "'", "\u2019": "'", "\u2033": '"', "\u201d": '"', "\u2044": "/"}
)
_DECIMAL: Final = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_UNSIGNED: Final = rf"(?:[0-9]+(?:\s+|-)[0-9]+/[0-9]+|[0-9]+/[0-9]+|{_DECIMAL})"
_NUMBER: Final = re.compile(
    rf"(?P<sign>[+-]?)\s*(?:(?:(?P<whole>[0-9]+)(?:\s+|-))?(?P<over>[0-9]+)/(?P<under>[0-9]+)|(?P<decimal>{_DECIMAL}))"
)
_SINGLE: Final = re.compile(rf"(?P<number>[+-]?\s*{_UNSIGNED})\s*(?P<unit>[^\W\d_]+|[\"'])?")
_FEET_INCHES: Final = re.compile(
    rf"(?P<sign>[+-]?)\s*(?P<feet>{_UNSIGNED})\s*(?:ft|foot|feet|')(?:\s*|-)"
    rf"(?P<inches>{_UNSIGNED})\s*(?:in|inch|inches|\")"
)
_COMMA_NUMBER: Final = re.compile(r"(?P<number>[+-]?[0-9]*,[0-9]+)(?P<rest>\s*(?:[^\W\d_]+|[\"'])?)")
_EXAMPLES: Final = "450, 12.5 mm, 3/4 in or 2 ft 3 1/2 in"
_YES_NO: Final = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
_LARGEST_COUNT: Final = 2.0**53
"""Whole numbers up to here are exact in a float."""
THIN: Final = 3.0
"""Below this a length is told finer than a rule shows, mm."""
_SIXTEENTH: Final = 0.01
"""What a thin length may lie off a whole sixteenth of an inch and be told as one, sixteenths."""
_SAME_SIZE: Final = 0.005
"""What a size in mm may lie off a fraction of an inch and still be meant by it, mm: its last digit."""

_EVEN: Final = 1e-6  # of a step: what lies on one but for rounding

_LONGEST: Final = 60
"""No length takes more characters than this; keeps every number in it far from overflow."""


def inch(value: float) -> float:
    """Return a length given in inches.

    Parameters
    ----------
    value : float, inches
        The length.

    Returns
    -------
    float, mm
        25.4 times the value. Computed as 127/5, so that fractions of an inch are rounded only once.

    Raises
    ------
    PlugError
        ``value`` is infinite or not a number.

    References
    ----------
    International yard and pound agreement, 1959: 1 yd = 0.9144 m, so 1 in = 25.4 mm by definition.
    """
    if not math.isfinite(value):
        raise PlugError(
            param="inch",
            value=value,
            reason="a length must be a finite number",
            remedy="give a number of inches, such as 3.5",
        )
    return value * 127.0 / 5.0


def parse_number(text: str) -> float | None:
    """Return the number that a text holds: ``12.5``, ``1e3``, ``3/4``, ``1 1/2`` or ``1-1/2``.

    Parameters
    ----------
    text : str
        Digits with a decimal point, a fraction, or a whole number and a proper fraction.

    Returns
    -------
    float or None, dimensionless
        None if the text is not such a number or the number is not finite.
    """
    match = _NUMBER.fullmatch(_plain(text))
    if match is None:
        return None
    sign = -1.0 if match["sign"] == "-" else 1.0
    if match["decimal"]:
        value = float(match["decimal"])
    else:
        whole, over, under = (float(match[part] or 0) for part in ("whole", "over", "under"))
        if under == 0.0 or (match["whole"] and over >= under):
            return None
        value = (whole * under + over) / under
    return sign * value if math.isfinite(value) else None


def to_mm(value: float, unit: str) -> float:
    """Return a number of units as a length in mm.

    Parameters
    ----------
    value : float, in ``unit``
        The number.
    unit : str
        ``"mm"``, ``"cm"``, ``"m"``, ``"in"`` or ``"ft"``.

    Returns
    -------
    float, mm
    """
    if unit in ("in", "ft"):
        return value * (12.0 if unit == "ft" else 1.0) * 127.0 / 5.0
    return value * _MM_PER[unit]


def unit_named(word: str) -> str | None:
    """Return the short name of a unit of length, ``"in"`` for ``"Inches"``.

    Parameters
    ----------
    word : str
        A unit's name, sign or abbreviation, in any case.

    Returns
    -------
    str or None
        ``"mm"``, ``"cm"``, ``"m"``, ``"in"``, ``"ft"``, or None for any other word.
    """
    return _UNIT_WORDS.get(_plain(word).casefold())


def parse_length(text: str | float, *, param: str = "length") -> float:
    """Return the length that a text says, a bare number being mm.

    Read are ``450``, ``-3.5``, ``1e3``, ``12 mm``, ``4.5 cm``, ``1.2 m``, ``3/4 in``, ``1 1/2 in``,
    ``1-1/2"``, ``2 ft``, ``2 ft 3 1/2 in`` and ``2'-3"``. A fraction needs its unit.

    Parameters
    ----------
    text : str or float
        The length; a float is taken as mm.
    param : str
        What an error calls the length.

    Returns
    -------
    float, mm

    Raises
    ------
    PlugError
        The text is not a finite length; the remedy says how to write it.
    """
    if not isinstance(text, str):
        if isinstance(text, bool) or not isinstance(text, (int, float)) or not math.isfinite(text):
            why = "a length must be a finite number"
            raise PlugError(param=param, value=text, reason=why, remedy=f"write one, such as {_EXAMPLES}")
        return float(text)
    line = _plain(text).casefold()
    match = _FEET_INCHES.fullmatch(line)
    if match is not None:
        feet, inches = parse_number(match["feet"]), parse_number(match["inches"])
        if feet is not None and inches is not None:
            value = to_mm(12.0 * feet + inches, "in")
            if math.isfinite(value):
                return -value if match["sign"] == "-" else value
    match = _SINGLE.fullmatch(line)
    if match is not None:
        number, unit = parse_number(match["number"]), unit_named(match["unit"] or "mm")
        is_bare_fraction = "/" in line and match["unit"] is None
        if number is not None and unit is not None and not is_bare_fraction:
            value = to_mm(number, unit)
            if math.isfinite(value):
                return value
    why, remedy = _why_no_length(line)
    raise PlugError(param=param, value=text, reason=why, remedy=remedy)


def parse_value(text: str, default: object, *, param: str = "value") -> object:
    """Return the text of ``--set name=text`` as a value of the kind that the parameter's default is.

    Parameters
    ----------
    text : str
        As typed.
    default : object
        float: any length. int: a whole number. bool: yes or no, true or false, 1 or 0. str: the text
        itself. tuple or list of numbers: lengths parted by commas, or by spaces if none holds a space; whole
        numbers stay whole where all defaults are. tuple or list of str: texts parted by commas.
        None: a length if the text is one, else the text itself.
    param : str
        The parameter's name, for the error.

    Returns
    -------
    object
        The value; lengths in mm.

    Raises
    ------
    PlugError
        The text cannot be such a value, or the default is of another kind.
    """
    if isinstance(default, bool):
        return _yes_or_no(text, param)
    if isinstance(default, int):
        return _whole(text, param)
    if isinstance(default, float):
        return parse_length(text, param=param)
    if isinstance(default, str):
        return text
    if default is None:
        return _length_or_text(text, param)
    if isinstance(default, (tuple, list)):
        if default and all(isinstance(item, str) for item in default):
            return type(default)(part.strip() for part in text.split(","))
        if all(isinstance(item, (int, float)) and not isinstance(item, bool) for item in default):
            return type(default)(_numbers(text, default, param))
    raise PlugError(
        param=param,
        value=text,
        reason=f"its default is a {type(default).__name__}, which cannot be written as one text",
        remedy="change it in the recipe, or give the recipe a number, a text or a tuple of numbers to set",
    )


def format_length(value: float, unit: str) -> str:
    """Return a length as a person reads it.

    Parameters
    ----------
    value : float, mm
        The length.
    unit : str
        ``"mm"``: at most one decimal, ``"12.5 mm"``. ``"in"``: the nearest 1/16, reduced, ``"17 11/16 in"``.

    Returns
    -------
    str

    Raises
    ------
    PlugError
        ``unit`` is neither.
    AssertionError
        ``value`` is not finite: nothing that is computed here may be.
    """
    if not math.isfinite(value):
        raise AssertionError(f"a length of {value} was about to be printed")
    if unit == "mm":
        text = f"{value:.1f}".removesuffix(".0")
        return f"{'0' if text == '-0' else text} mm"
    if unit != "in":
        raise PlugError(
            param="unit", value=unit, reason="lengths are shown in mm or in inches", remedy='use "mm" or "in"'
        )
    sixteenths = math.floor(abs(value) * 16.0 * 5.0 / 127.0 + 0.5)
    return _in_fractions(-sixteenths if value < 0.0 else sixteenths, 16)


def format_fine(value: float, unit: str) -> str:
    """Return a length; what is thin and no whole sixteenth, to a hundredth mm or a thousandth in.

    Parameters
    ----------
    value : float, mm
    unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    str

    Raises
    ------
    PlugError
        ``unit`` is neither.
    AssertionError
        ``value`` is not finite.
    """
    told = format_length(value, unit)
    sixteenths = value * 16.0 / 25.4
    if abs(value) >= THIN or (unit == "in" and abs(sixteenths - round(sixteenths)) < _SIXTEENTH):
        return told
    return f"{value / 25.4:.3f} in" if unit == "in" else f"{round(value, 2) + 0.0:g} mm"


def format_within(value: float, unit: str) -> str:
    """Return a length that others lie within, rounded up: none of them is more.

    Parameters
    ----------
    value : float, mm
        Not negative.
    unit : str
        ``"mm"``: to a hundredth, ``"0.04 mm"``. ``"in"``: to a thousandth, ``"0.002 in"``.

    Returns
    -------
    str
    """
    format_length(value, unit)  # which refuses what is no length, and no unit
    step = 0.01 if unit == "mm" else 0.0254
    steps = math.ceil(value / step - _EVEN)
    return f"{0.01 * steps:.2f} mm" if unit == "mm" else f"{0.001 * steps:.3f} in"


def format_size(value: float, unit: str) -> str:
    """Return the size of a thing that something else must fit: a drill, rod, screw, sheet, slot, radius.

    Parameters
    ----------
    value : float, mm
    unit : str
        ``"mm"``: two decimals at most, ``"6.35 mm"``. ``"in"``: a fraction down to 1/64 where it is one,
        ``"1/4 in"``; otherwise its own size first, ``"6 mm (0.236 in)"``, for no fraction near it would fit.

    Returns
    -------
    str

    Raises
    ------
    PlugError
        ``unit`` is neither.
    AssertionError
        ``value`` is not finite.
    """
    format_length(value, unit)  # which refuses what is no length, and no unit
    own = f"{round(value, 2) + 0.0:g} mm"
    parts = round(value * 64.0 / 25.4)
    if unit == "mm" or abs(value - parts * 25.4 / 64.0) > _SAME_SIZE:
        return own if unit == "mm" else f"{own} ({value / 25.4:.3f} in)"
    return _in_fractions(parts, 64)


def _in_fractions(parts: int, under: int) -> str:
    """Return so many parts of an inch as a whole number and a reduced fraction."""
    whole, rest = divmod(abs(parts), under)
    common = math.gcd(rest, under)
    words = [str(whole)] if whole or not rest else []
    words += [f"{rest // common}/{under // common}"] if rest else []
    return f"{'-' if parts < 0 else ''}{' '.join(words)} in"


def _plain(text: str) -> str:
    """Return a text with plain signs and quotes, and one-character fractions spelt out."""
    for letter in set(text) if not text.isascii() else ():
        if unicodedata.decomposition(letter).startswith("<fraction>"):
            text = text.replace(letter, f" {unicodedata.normalize('NFKC', letter)}")
    return text.translate(_SIGNS_AND_MARKS).strip()


def _why_no_length(line: str) -> tuple[str, str]:
    """Return why a text is no length, and what would be one."""
    if not line:
        return "there is no length", f"write one, such as {_EXAMPLES}"
    if len(line) > _LONGEST:
        return f"it is {len(line)} characters long", f"write a length such as {_EXAMPLES}"
    comma = _COMMA_NUMBER.fullmatch(line)
    if comma is not None:
        return "a comma is not read as a decimal point", _without_comma(comma["number"], comma["rest"])
    if re.fullmatch(r"[+-]?(?:nan|inf|infinity)\b.*", line):
        return "a length must be a finite number", f"write a number, such as {_EXAMPLES}"
    fraction = re.search(r"(?:(?P<whole>[0-9]+)(?:\s+|-))?(?P<over>[0-9]+)/(?P<under>[0-9]+)", line)
    if fraction is not None:
        whole, over, under = (float(fraction[part] or 0) for part in ("whole", "over", "under"))
        if under == 0.0:
            return "the fraction is over nothing", "write a fraction such as 3/4 in"
        if fraction["whole"] and over >= under:
            return (
                f"the fraction {fraction['over']}/{fraction['under']} after a whole number is not below one",
                f"write {format_length(to_mm(whole + over / under, 'in'), 'in')} if that is meant",
            )
        if re.fullmatch(rf"[+-]?\s*{_UNSIGNED}", line):
            return "a fraction needs its unit", f'write "{line} in", or mm with a decimal point'
    single = _SINGLE.fullmatch(line)
    if single is not None and single["unit"] is not None and unit_named(single["unit"]) is None:
        return (
            f"{single['unit']!r} is not a unit known here; those are mm, cm, m, in and ft",
            f'write "{single["number"]} mm" or "{single["number"]} in"',
        )
    if single is not None:
        return "the number is too large to be held", f"write a length such as {_EXAMPLES}"
    return "it does not read as a length", f"write it like {_EXAMPLES}"


def _without_comma(number: str, rest: str) -> str:
    """Return the remedy for a number with one comma."""
    point, joined = number.replace(",", ".") + rest, number.replace(",", "") + rest
    if len(number.partition(",")[2]) == 3:
        return f"write {point} for a decimal, or {joined} without the comma for thousands"
    return f"write {point}"


def _yes_or_no(text: str, param: str) -> bool:
    """Return a bool from yes, no and their like."""
    answer = _YES_NO.get(text.strip().casefold())
    if answer is None:
        raise PlugError(
            param=param, value=text, reason="it is a question of yes or no", remedy="write yes or no"
        )
    return answer


def _whole(text: str, param: str) -> int:
    """Return a whole number."""
    number = parse_number(text)
    if number is not None and number.is_integer() and abs(number) <= _LARGEST_COUNT:
        return int(number)
    try:
        nearest = number if number is not None else parse_length(text, param=param)
    except PlugError:
        nearest = math.inf
    known = (
        f"write {math.floor(nearest + 0.5)}"
        if abs(nearest) <= _LARGEST_COUNT
        else "write a whole number, such as 3"
    )
    raise PlugError(
        param=param,
        value=text,
        reason="its default in the recipe is a whole number, so it must be one too",
        remedy=f"{known}, or give the default in the recipe a decimal point if it is a length",
    )


def _length_or_text(text: str, param: str) -> float | str:
    """Return a length if it is one, else the text; what was surely meant as a number stays an error."""
    try:
        return parse_length(text, param=param)
    except PlugError:
        line = _plain(text).casefold()
        if _COMMA_NUMBER.fullmatch(line) or re.fullmatch(r"[+-]?(?:nan|inf|infinity)", line):
            raise
        return text


def _numbers(text: str, default: Sequence[object], param: str) -> list[float]:
    """Return the lengths of a row of them, whole numbers kept whole where all defaults are."""
    row = text.strip()
    if row[:1] + row[-1:] in ("()", "[]"):
        row = row[1:-1].strip()
    parts = row.removesuffix(",").split(",") if "," in row else row.split()
    if not parts:
        raise PlugError(
            param=param,
            value=text,
            reason="there is no number in it",
            remedy="write numbers with commas, such as 50, 30, 20",
        )
    keep_whole = bool(default) and all(isinstance(item, int) for item in default)
    numbers: list[float] = []
    for place, part in enumerate(parts):
        try:
            number = parse_length(part, param=f"{param}[{place}]")
        except PlugError as error:
            hint = "" if "," in row else "; where units or fractions are written, part the lengths by commas"
            raise PlugError(
                param=error.param, value=part.strip() or text, reason=error.reason, remedy=error.remedy + hint
            ) from error
        numbers.append(int(number) if keep_whole and number.is_integer() else number)
    return numbers
