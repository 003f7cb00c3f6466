"""Every word of a recipe, checked once for its kind and its range, from the annotations of its own record.

A record says what its fields may hold where it declares them: ``kerf: Annotated[float, Within(0.0, 20.0)]``.
`checked` reads that and goes through the record and all that it holds, so that no field can be forgotten.
What comes out is plain: float, int, bool, str, tuple, dict and the records themselves.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, Field, fields, is_dataclass
from functools import cache
from numbers import Integral, Real
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, Final, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from plugs.ground.errors import PlugError, shown
from plugs.ground.limits import Count, Curve, Letters, OneOf, OrOne, Points, Within
from plugs.ground.tolerances import LARGEST

R = TypeVar("R")

NOTHING: Final = 1e-9
"""A number nearer to 0 than this is 0: what a sum leaves over that should have been 0."""

_BYTES: Final = (str, bytes, bytearray, memoryview)
_UNSEEN: Final = ("Cc", "Cs", "Zl", "Zp")
_TURNS_TEXT: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_MOST_POINTS: Final = 100_000  # of a curve: as many as a polyline of a drawing may have, see `plugs.measure`


def number(param: str, value: object, *, least: float = -LARGEST, most: float = LARGEST) -> float:
    """Return a value as a float, or refuse it.

    Parameters
    ----------
    param : str
        Its name in the recipe.
    value : object
        What the recipe gives.
    least, most : float
        The range that can be built, ends included, in the parameter's own unit.

    Returns
    -------
    float

    Raises
    ------
    PlugError
        Not a number, not finite, or out of range.
    """
    if not _is_number(value):
        raise PlugError(
            param=param,
            value=value,
            reason="this is not a number",
            remedy=f"use a number, such as {max(least, 0.0):g}",
        )
    try:
        result = float(value)  # type: ignore[arg-type]
    except OverflowError:  # a whole number beyond 1e308
        result = math.inf if value > 0 else -math.inf  # type: ignore[operator]
    if not math.isfinite(result):
        raise PlugError(
            param=param,
            value=result,
            reason="it is not a finite number",
            remedy=f"use a number from {least:g} to {most:g}",
        )
    if not least <= result <= most:
        nearest = least if result < least else most
        raise PlugError(
            param=param,
            value=result,
            reason=f"it lies outside {least:g} to {most:g}",
            remedy=f"use {nearest:g}, or a number in between",
        )
    return result


def checked(record: object, kind: type[R], param: str) -> R:
    """Return a record with every field checked, and all that its fields hold.

    Parameters
    ----------
    record : object
        What the recipe gives.
    kind : type
        The record that is wanted: a dataclass whose annotations say what its fields may be.
    param : str
        Where the recipe gives it; empty for the plug itself.

    Returns
    -------
    record
        Itself where nothing had to be changed; numbers are floats, lists are tuples.

    Raises
    ------
    PlugError
        Another kind of thing, or a field of another kind or out of range, by its whole path.
    """
    if not isinstance(record, kind):
        raise _another(param, record, kind, "")
    found: dict[str, Any] = {}
    for word, (hint, example) in _fields(cast(Any, kind)).items():
        path = f"{param}.{word}" if param else word
        found[word] = _value(getattr(record, word), hint, path, example)
    if type(record) is kind and all(found[word] is getattr(record, word) for word in found):
        return record
    return kind(**found)


@cache
def _fields(kind: Any) -> dict[str, tuple[Any, str]]:
    """Return what each field of a record may hold, and an example of it: its default where that shows one."""
    hints = get_type_hints(kind, include_extras=True)
    return {f.name: (hints[f.name], _default(f) or _example(hints[f.name])) for f in fields(kind)}


def _default(field: Field[Any]) -> str:
    """Return a field's default as it would be written, empty where that is no example."""
    plain = field.default is not MISSING and isinstance(field.default, (int, float, str, tuple))
    return _quoted(field.default) if plain and field.default not in ("", ()) else ""


def _quoted(value: object) -> str:
    """Return a value as a recipe would write it."""
    return repr(value).replace("'", '"')


def _value(value: object, hint: Any, param: str, example: str) -> Any:
    """Return a value of the kind that an annotation asks for, or refuse it."""
    marks: tuple[object, ...] = ()
    if get_origin(hint) is Annotated:
        hint, *rest = get_args(hint)
        marks = tuple(rest)
    origin = get_origin(hint) or hint
    if origin in (Union, UnionType):
        return _one_of_kinds(value, hint, param, example)
    if any(isinstance(mark, Points) for mark in marks):
        return _points(value, param)
    if origin is float:
        span = _mark(marks, Within())
        if not _is_number(value):
            raise _another(param, value, hint, _number_in(value) or example)
        found = number(param, value, least=span.least, most=span.most)
        return found if abs(found) >= NOTHING or found == 0.0 else 0.0
    if origin is int:
        return _whole(value, _mark(marks, Within(0.0)), param)
    if origin is bool:
        if not _is_yes_or_no(value):
            raise _another(param, value, hint, example)
        return bool(value)
    if origin is str:
        return _text(value, marks, param, example)
    if origin in (Sequence, tuple):
        lone = any(isinstance(mark, OrOne) for mark in marks) and not _is_row(value)
        given = (value,) if lone and _looks(value, get_args(hint)[0]) else value
        return _row(given, hint, _mark(marks, Count()), param, example)
    if origin is Mapping:
        return _named(value, hint, _mark(marks, Count()), param, example)
    if isinstance(origin, type) and is_dataclass(origin):
        return checked(value, origin, param)
    if not isinstance(value, origin):
        raise _another(param, value, hint, example)
    return value


def _mark(marks: tuple[object, ...], usual: R) -> R:
    """Return the mark of the same kind as the usual one, which it replaces."""
    return next((mark for mark in marks if isinstance(mark, type(usual))), usual)


def _one_of_kinds(value: object, hint: Any, param: str, example: str) -> Any:
    """Return a value of one of several kinds: of the one that it looks like."""
    arms = get_args(hint)
    if value is None and NoneType in arms:
        return None
    others = [arm for arm in arms if arm is not NoneType]
    likely = others if len(others) == 1 else [arm for arm in others if _looks(value, arm)]
    if not likely:
        raise _another(param, value, hint, example)
    return _value(value, likely[0], param, example if example != "None" else "")


def _looks(value: object, hint: Any) -> bool:
    """Return whether a value is, as a whole, of the kind that an annotation asks for."""
    marks: list[object] = []
    if get_origin(hint) is Annotated:
        hint, *marks = get_args(hint)
    origin = get_origin(hint) or hint
    if origin in (float, int):
        return _is_number(value)
    if origin in (Sequence, tuple):
        lone = any(isinstance(mark, OrOne) for mark in marks) and _looks(value, get_args(hint)[0])
        return lone or _is_row(value)
    return isinstance(value, origin)


def _is_number(value: object) -> bool:
    """Return whether a value is a real number, of Python's own or of a library's; yes and no are none."""
    return isinstance(value, Real) and not isinstance(value, bool)


def _number_in(value: object) -> str:
    """Return the number that a text holds, as it would be written without quotes; empty for anything else."""
    is_one = isinstance(value, str) and re.fullmatch(r"[-+]?[0-9]{1,9}(\.[0-9]{1,9})?", value.strip())
    return f"{float(str(value))}" if is_one else ""


def _is_yes_or_no(value: object) -> bool:
    """Return whether a value is True or False, of Python's own or of an array's."""
    return isinstance(value, bool) or (_kind_in_array(value) == "b" and not _is_row(value))


def _kind_in_array(value: object) -> str:
    """Return the letter for what an array or a number out of one holds, empty for anything else."""
    return str(getattr(getattr(value, "dtype", None), "kind", ""))


def _is_row(value: object) -> bool:
    """Return whether a value is a list of things in order."""
    is_array = _kind_in_array(value) != "" and getattr(value, "ndim", 0) > 0
    return is_array or (isinstance(value, Sequence) and not isinstance(value, _BYTES))


def _whole(value: object, span: Within, param: str) -> int:
    """Return a whole number, or refuse it."""
    if isinstance(value, bool) or not isinstance(value, Integral):
        raise _another(param, value, int, f"{max(span.least, 1.0):g}")
    number(param, value, least=span.least, most=span.most)
    return int(value)


def _text(value: object, marks: tuple[object, ...], param: str, example: str) -> str:
    """Return a text that can be shown, of one of the words that a field knows, or refuse it."""
    known = _mark(marks, OneOf(()))
    if not isinstance(value, str):
        raise _another(param, value, str, example)
    text = str.__str__(value)
    if known.words and text not in known.words:
        raise PlugError(
            param=param,
            value=text,
            reason="there is no such word here",
            remedy=f"use one of: {', '.join(known.words)}",
        )
    letters = _mark(marks, Letters())
    if len(text) > letters.most:
        raise PlugError(
            param=param,
            value=text,
            reason=f"it is {len(text)} letters long, which fits on no drawing",
            remedy=f"use at most {letters.most} letters",
        )
    unseen = "" if text.isprintable() else next((letter for letter in text if _is_unseen(letter)), "")
    if unseen:
        plain = " ".join("".join(" " if _is_unseen(c) else c for c in text).split())
        raise PlugError(
            param=param,
            value=text,
            reason=f"it holds the character U+{ord(unseen):04X}, which no drawing and no table can show",
            remedy=f"write {_quoted(plain or 'name')}",
        )
    if letters.least and not text.strip():
        raise PlugError(
            param=param,
            value=text,
            reason="drawings and lists call it by this, and it is empty",
            remedy='write a name, such as "Seat hump"',
        )
    return text


def _is_unseen(letter: str) -> bool:
    """Return whether a character is a control, half a character, or turns the text round it."""
    place = ord(letter)
    nobody = place & 0xFFFE == 0xFFFE or 0xFDD0 <= place <= 0xFDEF  # noncharacters, which no XML may hold
    return unicodedata.category(letter) in _UNSEEN or letter in _TURNS_TEXT or nobody


def _row(value: object, hint: Any, count: Count, param: str, example: str) -> tuple[Any, ...]:
    """Return a list as a tuple, every item checked, or refuse it."""
    if not _is_row(value):
        raise _another(param, value, hint, example)
    kinds = get_args(hint)
    is_fixed = get_origin(hint) is tuple and kinds[-1] is not Ellipsis
    _check_count(value, hint, Count(len(kinds), len(kinds)) if is_fixed else count, param, example)
    given = list(value)  # type: ignore[call-overload]
    each = kinds if is_fixed else kinds[:1] * len(given)
    found = tuple(
        _value(item, kind, f"{param}[{i}]", "")
        for i, (item, kind) in enumerate(zip(given, each, strict=True))
    )
    same = type(value) is tuple and all(a is b for a, b in zip(found, given, strict=True))
    return value if same else found  # type: ignore[return-value]


def _named(value: object, hint: Any, count: Count, param: str, example: str) -> Mapping[Any, Any]:
    """Return a mapping with names and values checked, or refuse it."""
    if not isinstance(value, Mapping):
        raise _another(param, value, hint, example)
    _check_count(value, hint, count, param, example)
    name_kind, kind = get_args(hint)
    found = {}
    for name, item in value.items():
        key = _value(name, name_kind, f"{param}[{shown(name)}]", "")
        place = f"{param}[{key!r}]" if isinstance(key, str) else f"{param}[{key:g}]"
        found[key] = _value(item, kind, place, "")
    same = type(value) is dict and all(found[name] is value[name] for name in found)
    return value if same else found


def _check_count(value: Any, hint: Any, count: Count, param: str, example: str) -> None:
    """Refuse a list that holds too little or too much."""
    given = len(value)
    if count.least <= given <= count.most:
        return
    fixed = count.least == count.most
    holds = f"it holds {given or 'nothing'}"
    raise PlugError(
        param=param,
        value=value if given <= 10 else f"{given} of them",
        reason=f"{holds}, not {count.most}"
        if fixed
        else f"{holds}, and needs at least {count.least}"
        if given < count.least
        else f"{holds}, more than anybody builds",
        remedy=f"write {example or _example(hint)}"
        if fixed or given < count.least
        else f"give at most {count.most}",
    )


def _points(value: Any, param: str) -> Any:
    """Return a row of points, or the faired curve that gives them, or refuse it."""
    if callable(getattr(value, "at", None)) and not isinstance(value, type):
        return value
    if not _is_row(value):
        raise _another(param, value, Curve, "")
    _check_count(value, Curve, Count(2, _MOST_POINTS), param, "")
    is_plain = _kind_in_array(value) in ("f", "i", "u") and value.ndim == 2 and value.shape[1] == 2
    if is_plain and abs(value).max() <= LARGEST:
        return value
    return _row(value, Sequence[tuple[float, float]], Count(2, _MOST_POINTS), param, "")


def _another(param: str, value: object, hint: Any, example: str) -> PlugError:
    """Return the error of a value of another kind."""
    plain = get_args(hint)[0] if get_origin(hint) is Annotated else hint
    if get_origin(plain) is Sequence and _looks(value, get_args(plain)[0]):
        example = f'("{shown(value)}",)' if isinstance(value, str) else f"({type(value).__name__}(...),)"
    last = param.rpartition(".")[2]
    word = f"{last}=" if last.isidentifier() else ""
    return PlugError(
        param=param,
        value=value,
        reason=f"this is {_what(value)}, not {_noun(hint)}",
        remedy=f"{'use a number, such as' if plain is float else 'write'} {word}{example or _example(hint)}"
        + ", or None" * (NoneType in get_args(hint)),
    )


def _what(value: object) -> str:
    """Return what a value is, in a word or two."""
    if value is None:
        return "None"
    if _is_yes_or_no(value):
        return str(bool(value))
    if _is_number(value):
        return "a number"
    if isinstance(value, str):
        return "text"
    if _is_row(value):
        return "a list"
    if isinstance(value, Mapping):
        return "a set of names with values"
    return _with_article(type(value).__name__)


def _with_article(word: str) -> str:
    """Return a word with a or an before it."""
    return f"{'an' if word[:1].lower() in 'aeiou' else 'a'} {word}"


def _noun(hint: Any) -> str:
    """Return what an annotation asks for, in a word or two."""
    if get_origin(hint) is Annotated:
        hint, *marks = get_args(hint)
        if any(isinstance(mark, Points) for mark in marks):
            return "a row of points"
    origin = get_origin(hint) or hint
    if origin in (Union, UnionType):
        nouns = [_noun(arm) for arm in get_args(hint) if arm is not NoneType]
        return " or ".join(filter(None, [", ".join(nouns[:-1]), nouns[-1]]))
    plain = {float: "a number", int: "a whole number", bool: "True or False", str: "text", Path: "a path"}
    if origin in (Sequence, tuple):
        return "a list"
    if origin is Mapping:
        return "names with their values"
    if origin is Callable:
        return "a function"
    return plain.get(origin) or _with_article(origin.__name__)


def _example(hint: Any, *, is_inner: bool = False) -> str:
    """Return what could be written for an annotation."""
    marks: list[object] = []
    if get_origin(hint) is Annotated:
        hint, *marks = get_args(hint)
    origin, kinds = get_origin(hint) or hint, get_args(hint)
    if any(isinstance(mark, Points) for mark in marks):
        return "[(0.0, 0.0), (50.0, 2.0), (100.0, 0.0)]"
    if origin in (Union, UnionType):
        return _example(kinds[0], is_inner=is_inner)
    if origin in (float, int):
        span = _mark(tuple(marks), Within(0.0, 100.0))
        middle = min(max(10.0, span.least), span.most)
        return str(middle if origin is float else int(max(span.least, 1.0)))
    if origin is str:
        return _quoted(next(iter(_mark(tuple(marks), OneOf(())).words), "name"))
    if origin in (Sequence, Mapping) and is_inner:
        return "(...)" if origin is Sequence else "{...}"
    if origin is Sequence:
        return f"({_example(kinds[0], is_inner=True)},)"
    if origin is tuple:
        return f"({', '.join(_example(kind) for kind in kinds)})"
    if origin is Mapping:
        return f"{{{_example(kinds[0])}: {_example(kinds[1], is_inner=True)}}}"
    if isinstance(origin, type) and is_dataclass(origin):
        needed = [f for f in fields(origin) if f.default is MISSING and f.default_factory is MISSING]
        hints = get_type_hints(origin, include_extras=True)
        words = [f"{f.name}={_example(hints[f.name], is_inner=True)}" for f in needed]
        return f"{origin.__name__}({', '.join(words)})"
    if origin is Callable:
        return "find_it"
    return "True" if origin is bool else f"{shown(getattr(origin, '__name__', str(origin)))}(...)"
