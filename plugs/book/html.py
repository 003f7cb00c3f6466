"""Words, figures and tables of the build book as markup; whatever is not markup already is escaped.

A figure of the summary carries its unit in its name, so that one function can write any of them for a person.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from html import escape
from typing import Any, Final

from plugs.ground.amounts import amount
from plugs.ground.figures import ending_of
from plugs.ground.units import format_fine, format_size

_UNICODE_MINUS: Final = "−"
_LONG: Final = 32  # letters: a longer cell is set flush left and may be broken
_SIZES: Final = ("diameter_mm", "rod_mm", "sheet_mm", "board_mm", "radius_mm", "least_radius_mm", "kerf_mm")
"""Figures that something else must fit."""

_NO_BREAK: Final = "\u00a0"
_DASH: Final = "–"
_VOID: Final = frozenset({"input", "img", "br", "link", "meta"})


class Html(str):
    """Text that is markup already, and stays as it is."""

    __slots__ = ()


def text(value: object) -> Html:
    """Return anything as markup: markup as it is, all else escaped."""
    return value if isinstance(value, Html) else Html(escape(str(value), quote=True))


def joined(parts: Iterable[object], between: str = "") -> Html:
    """Return parts one after the other; None is left out.

    Parameters
    ----------
    between : str
        Escaped too.
    """
    return Html(escape(between).join(text(part) for part in parts if part is not None))


def el(tag: str, *content: object, **attributes: object) -> Html:
    """Return an element of a page.

    Parameters
    ----------
    tag : str
        Its name, one of ours.
    *content : object
        What stands in it; None is left out.
    **attributes : object
        By name, an underscore for a hyphen and none at the end: ``class_``. None and False are left out,
        True stands alone.
    """
    said = []
    for name, value in attributes.items():
        word = name.rstrip("_").replace("_", "-")
        if value is True:
            said.append(f" {word}")
        elif value is not None and value is not False:
            said.append(f' {word}="{escape(str(value), quote=True)}"')
    head = f"<{tag}{''.join(said)}>"
    return Html(head) if tag in _VOID else Html(f"{head}{joined(content)}</{tag}>")


def step(key: str, *words: object) -> Html:
    """Return a step with a box to tick, which the browser remembers.

    Parameters
    ----------
    key : str
        Unlike that of any other step of the book.
    *words : object
        What is done.
    """
    box = el("input", type="checkbox", data_step=key)
    return el("label", box, " ", el("span", *words), class_="step")


def steps(rows: Sequence[tuple[str, object]]) -> Html:
    """Return steps as a list.

    Parameters
    ----------
    rows : sequence of (str, object)
        Key and words of each.

    Returns
    -------
    Html
        Empty without any.
    """
    if not rows:
        return Html("")
    return el("ul", *(el("li", step(key, words)) for key, words in rows), class_="steps")


def table(caption: object, heads: Sequence[object], rows: Sequence[Sequence[object]]) -> Html:
    """Return a table, the first column as the heads of its rows.

    Parameters
    ----------
    rows : sequence of sequence of object
        As many cells as there are heads.

    Returns
    -------
    Html
        Empty without rows.
    """
    if not rows:
        return Html("")
    top = el("thead", el("tr", *(el("th", head, scope="col") for head in heads)))
    body = [
        el("tr", el("th", row[0], scope="row"), *(el("td", cell, class_=_long(cell)) for cell in row[1:]))
        for row in rows
    ]
    return el("div", el("table", el("caption", caption), top, el("tbody", *body)), class_="wide")


def _long(cell: object) -> str | None:
    """Return the class of a cell that holds more than a figure or two."""
    return "long" if len(str(cell)) > _LONG and "<" not in str(cell) else None


def quantities_table(
    caption: object,
    columns: Sequence[tuple[str, str]],
    rows: Sequence[Mapping[str, Any]],
    unit: str,
    first: Callable[[Mapping[str, Any]], object] | None = None,
) -> Html:
    """Return a table of figures of the summary; a column that holds nothing is left out.

    Parameters
    ----------
    columns : sequence of (str, str)
        Name of the figure, with its unit, and head of its column.
    unit : str
        ``"mm"`` or ``"in"``.
    first : callable or None
        Gives the first cell of a row, instead of its figure.
    """
    used = [
        (name, head)
        for k, (name, head) in enumerate(columns)
        if k == 0 or any(row.get(name) not in (None, "", []) for row in rows)
    ]
    cells: list[list[object]] = [[quantity(name, row.get(name), unit) for name, _ in used] for row in rows]
    if first is not None:
        cells = [[first(row), *line[1:]] for row, line in zip(rows, cells, strict=True)]
    return table(caption, [head for _, head in used], cells)


def pairs_table(caption: object, pairs: Sequence[tuple[object, object]]) -> Html:
    """Return a table of two columns, what and how much; a pair without a value is left out.

    Parameters
    ----------
    pairs : sequence of (object, object)
    """
    rows = [
        el("tr", el("th", what, scope="row"), el("td", value)) for what, value in pairs if value is not None
    ]
    if not rows:
        return Html("")
    return el("div", el("table", el("caption", caption), el("tbody", *rows)), class_="wide")


def quantity(name: str, value: object, unit: str) -> Html:
    """Return a figure of the summary for a person, by the unit in its name.

    Parameters
    ----------
    name : str
        As in summary.json, ``"rough_area_m2"``.
    value : object
        A number, a text, a list of either, or None.
    unit : str
        ``"mm"`` or ``"in"``, for lengths; in inches, areas and masses are told in feet and pounds as well.
    """
    if value is None or value == "":
        return text(_DASH)
    if isinstance(value, bool):
        return text("yes" if value else "no")
    if isinstance(value, list | tuple):
        return joined([quantity(name, item, unit) for item in value], ", ") if value else text(_DASH)
    if isinstance(value, Mapping):
        return joined([f"{head_of(key)} {quantity(key, item, unit)}" for key, item in value.items()], "; ")
    if not isinstance(value, int | float):
        return text(value)
    if name in _SIZES:
        return _unbroken(format_size(float(value), unit))
    if ending_of(name) == "_mm":
        return _unbroken(format_fine(float(value), unit))
    return _unbroken(amount(name, float(value), unit))


def _unbroken(words: str) -> Html:
    """Return a figure that stays on one line, with a true minus."""
    return text(words.replace("-", _UNICODE_MINUS).replace(" ", _NO_BREAK))


def head_of(name: str) -> str:
    """Return the name of a figure as words, without its unit.

    Parameters
    ----------
    name : str
        As in summary.json, ``"rough_area_m2"``.
    """
    ending = ending_of(name)
    return (name.removesuffix(ending) if ending.startswith("_") else name).replace("_", " ")
