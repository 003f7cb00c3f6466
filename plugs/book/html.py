"""Words, figures and tables of the build book as markup; whatever is not markup already is escaped.

A figure of the summary carries its unit in its name, so that one function can write any of them for a person.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from html import escape
from typing import Any, Final

from plugs.ground.amounts import amount
from plugs.ground.figures import ending_of
from plugs.ground.units import format_fine, format_size

_UNICODE_MINUS: Final = "−"
_LONG: Final = 32  # letters: a longer cell is set flush left and may be broken
_SIZES: Final = ("diameter_mm", "rod_mm", "sheet_mm", "board_mm", "radius_mm", "least_radius_mm", "kerf_mm")
"""Figures that something else must fit."""

_MANY: Final = 6  # columns: more have no room beside each other on a tablet
_KEY_DIGITS: Final = 12  # of a digest: no two of some thousand steps share one

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
    begin = _begun(tag, attributes)
    return Html(begin if tag in _VOID else f"{begin}{''.join(_within(content))}</{tag}>")


def parts_of(tag: str, *content: object, **attributes: object) -> list[Html]:
    """Return an element as parts that follow each other: whole, those of a thousand layers take much room.

    Parameters
    ----------
    tag, content, attributes : object
        As for `el`; a list is parts of content.
    """
    return [Html(_begun(tag, attributes)), *_within(content), Html(f"</{tag}>")]


def _begun(tag: str, attributes: Mapping[str, object]) -> str:
    """Return how an element begins."""
    said = ""
    for name, value in attributes.items():
        if value is True:
            said += f" {_word_of(name)}"
        elif value is not None and value is not False:
            said += f' {_word_of(name)}="{escape(str(value), quote=True)}"'
    return f"<{tag}{said}>"


@cache
def _word_of(name: str) -> str:
    """Return an attribute as a page calls it."""
    return name.rstrip("_").replace("_", "-")


def _within(content: Iterable[object]) -> list[Html]:
    """Return what stands in an element; a list is parts of that."""
    found = list[Html]()
    for one in content:
        if isinstance(one, list):
            found += map(text, one)
        elif one is not None:
            found.append(text(one))
    return found


def key_of(*what: object) -> str:
    """Return a short name of what something is, by which a browser knows a step again after the next build.

    Parameters
    ----------
    *what : object
        Texts, numbers, None, and lists of them: whatever makes it another thing when it changes.
    """
    told = json.dumps(what, ensure_ascii=False, default=str)
    return hashlib.sha256(told.encode()).hexdigest()[:_KEY_DIGITS]


def step(kind: str, *words: object, what: object = None) -> Html:
    """Return a step with a box to tick, which the browser remembers.

    Parameters
    ----------
    kind : str
        Of step, the same from build to build.
    what : object
        What it is done to, without any number or name that another change may give to another; None: the
        words say it all.
    *words : object
        What is done.
    """
    told = joined(words)
    box = el("input", type="checkbox", data_step=key_of(kind, told if what is None else what))
    return el("label", box, " ", el("span", told), class_="step")


def numbered(parts: Iterable[Html]) -> list[Html]:
    """Return parts of a page in which steps that are alike have keys of their own, by their order."""
    seen: Counter[str] = Counter()

    def own(found: re.Match[str]) -> str:
        seen[found[1]] += 1
        count = seen[found[1]]
        return f'data-step="{found[1]}{f"-{count}" if count > 1 else ""}"'

    return [Html(re.sub(rf'data-step="([0-9a-f]{{{_KEY_DIGITS}}})"', own, part)) for part in parts]


def steps(rows: Iterable[tuple[str, object]], what: object = None) -> Html:
    """Return steps one under the other.

    Parameters
    ----------
    rows : iterable of (str, object)
        Kind and words of each.
    what : object
        What they are done to, beside what their words say.

    Returns
    -------
    Html
        Empty without any.
    """
    return listed(step(kind, words, what=[text(words), what]) for kind, words in rows)


def listed(boxes: Iterable[Html], *, are_side_by_side: bool = False) -> Html:
    """Return steps one under the other, or side by side where there is room; empty without any."""
    rows = [el("li", box) for box in boxes]
    return el("ul", *rows, class_="steps few" if are_side_by_side else "steps") if rows else Html("")


def card(box: Html, *more: object, sizes: Sequence[tuple[object, object]] = ()) -> Html:
    """Return a card: a step, the sizes that matter to it, and its picture.

    Parameters
    ----------
    box : Html
        The step.
    sizes : sequence of (object, object)
        What is measured, and how much; one that is None is left out.
    *more : object
        Its picture, and what is folded away.
    """
    return el("li", box, pairs_list(sizes), *more)


def cards(rows: Iterable[Html]) -> Html:
    """Return cards, side by side where there is room; empty without any."""
    found = list(rows)
    return el("ul", *found, class_="cards") if found else Html("")


def folded(head: object, *content: object, on_paper: bool = True) -> Html:
    """Return what is looked up, and not read in passing, folded away; empty without content.

    Parameters
    ----------
    on_paper : bool
        Whether it is printed, unfolded; what hangs over the bench or stands in a file need not be.
    """
    told = joined(content)
    return el("details", el("summary", head), told, class_=None if on_paper else "screen") if told else told


def table(caption: object, heads: Sequence[object], rows: Sequence[Sequence[object]]) -> Html:
    """Return a table, the first column as the heads of its rows; on a narrow screen each row is a card.

    Parameters
    ----------
    rows : sequence of sequence of object
        As many cells as there are heads.
    """
    if not rows:
        return Html("")
    top = el("thead", el("tr", *(el("th", head, scope="col") for head in heads)))
    named = [_begun("td", {"data_head": head}).removeprefix("<td") for head in heads[1:]]
    body = [el("tr", el("th", row[0], scope="row"), *map(_cell, row[1:], named)) for row in rows]
    shape = "wide many" if len(heads) > _MANY else "wide"
    return el("div", el("table", el("caption", caption), top, el("tbody", *body)), class_=shape)


def _cell(held: object, named: str) -> Html:
    """Return a cell; its class is told if it holds more than a figure or two, or nothing."""
    told = text("" if held is None else held)
    if told in ("", _DASH):
        return Html(f'<td class="none"{named}{told}</td>')
    is_long = len(str(held)) > _LONG and "<" not in str(held)
    return Html(f'<td class="long"{named}{told}</td>' if is_long else f"<td{named}{told}</td>")


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


def pairs_list(pairs: Iterable[tuple[object, object]], head: object = None) -> Html:
    """Return figures one after the other, what and how much; a pair without a value is left out.

    Parameters
    ----------
    pairs : iterable of (object, object)
    head : object
        Over them.
    """
    told = [el("div", el("dt", what), el("dd", value)) for what, value in pairs if value is not None]
    return (
        joined([el("p", el("strong", head)) if head else None, el("dl", *told, class_="sizes")])
        if told
        else Html("")
    )


def quantity(name: str, value: object, unit: str) -> Html:
    """Return a figure of the summary for a person, by the unit in its name.

    Parameters
    ----------
    name : str
        As in summary.json, ``"saw_line_area_m2"``.
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
        As in summary.json, ``"saw_line_area_m2"``.
    """
    ending = ending_of(name)
    return (name.removesuffix(ending) if ending.startswith("_") else name).replace("_", " ")
