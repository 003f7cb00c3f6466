"""Outlines from SVG: paths and basic shapes with nested transforms, in real units, y turned up.

References
----------
Scalable Vector Graphics (SVG) 1.1, second edition, W3C recommendation, 2011: chapters 7 (coordinates,
transforms, viewBox), 9 (basic shapes), 5 (use, symbol); CSS lengths: 1 in = 96 px = 72 pt = 6 pc = 25.4 mm.
From memory, held by tests against other writers and readers.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final
from xml.etree import ElementTree
from xml.parsers import expat

import numpy as np

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.measure.runs import (
    CHORD_OF_CURVES,
    MOST_PIECES,
    MOST_POINTS,
    Array,
    Run,
    drawing_bytes,
    mm_per,
    too_much,
)  # fmt: skip
from plugs.measure.svg_path import Complexes, path_runs
from plugs.tables.csv_in import closest

_MM_PER: Final = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72.0, "pc": 25.4 / 6.0, "q": 0.25}
_LENGTH: Final = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*([a-zA-Z%]*)\s*")
_NUMBERS: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_TRANSFORM: Final = re.compile(r"[\s,]*([a-zA-Z]+)\s*\(([^()]*)\)")
_Elements = dict[str, ElementTree.Element]
_XLINK: Final = "{http://www.w3.org/1999/xlink}href"
_NOT_DRAWN: Final = frozenset(
    ("defs", "symbol", "clipPath", "mask", "marker", "pattern", "linearGradient", "radialGradient", "filter",
     "style", "script", "metadata", "title", "desc", "namedview")
)  # fmt: skip
_SHAPES: Final = frozenset(("path", "rect", "circle", "ellipse", "line", "polyline", "polygon"))
_GROUPS: Final = frozenset(("svg", "g", "a", "switch", "use"))
_DEEPEST: Final = 64  # groups within groups, far under Python's own depth
_LARGEST_NUMBER: Final = 1e9  # a coordinate of 1000 km is damage, and its square is still exact
_MOST_ELEMENTS: Final = 100_000  # see README: what a drawing holds at most is less


_LEAST_STRETCH: Final = 1e-9
"""mm to a user unit below which nothing is left of a shape."""


@record(slots=True, kw_only=True)
class _Seen:
    """What has been looked at so far: the file, how many elements, and what kinds were left out."""

    name: str
    left_out: dict[str, int]
    count: int = 0

    def one_more(self) -> None:
        """Count an element that is looked at, a copy once for each time."""
        self.count += 1
        if self.count > MOST_PIECES:
            raise too_much(
                self.name, f"it has more than {MOST_PIECES} elements, copies and hidden ones counted"
            )


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Place:
    """Where an element stands: its matrix to mm, and the names of those around it."""

    matrix: Array
    names: tuple[str, ...] = ()
    depth: int = 0
    is_hidden: bool = False


def svg_runs(path: Path, name: str | None, unit: str | None) -> tuple[list[Run], tuple[str, ...]]:
    """Return the paths and shapes that a drawing shows, as points.

    Parameters
    ----------
    path : Path
        The file.
    name : str or None
        Take only what bears this id or label, or stands in a group that does.
    unit : str or None
        Unit of one user unit, for a drawing whose width and height have none.

    Returns
    -------
    tuple of (list of Run, tuple of str)
        The pieces, mm, y up from the foot of the page, within 0.005 mm of the curves; and what was noticed.

    Raises
    ------
    PlugError
        The file is no SVG, declares entities, has no real unit, or shows no outline.
    """
    root = _tree(path, drawing_bytes(path))
    place, height = _page(path, root, unit)
    by_id = {element.get("id", ""): element for element in root.iter() if element.get("id")}
    pieces: list[Run] = []
    left_out: dict[str, int] = {}
    names: dict[str, None] = {}
    n_points = 0
    for element, at in _shown(root, by_id, place, _Seen(name=path.name, left_out=left_out)):
        names.update(dict.fromkeys(at.names))
        if name is not None and name not in at.names:
            continue
        stretch = float(np.linalg.norm(at.matrix[:, :2], 2))
        if stretch < _LEAST_STRETCH:
            continue
        for points, is_closed in _runs(element, CHORD_OF_CURVES / stretch):
            n_points += len(points)
            if n_points > MOST_POINTS:
                raise too_much(path.name, f"its curves have more than {MOST_POINTS} points, copies counted")
            mm = at.matrix @ np.vstack((points.real, points.imag, np.ones(len(points))))
            flipped = np.column_stack((mm[0], height - mm[1]))
            pieces.append(Run(points=flipped, is_closed=is_closed, name=at.names[-1] if at.names else ""))
    if name is not None and name not in names:
        known = closest(name, list(names)[:200])
        remedy = f"ask for one of: {known}" if known else "give the outline an id in the drawing"
        reason = f"nothing in {path.name} is called so"
        raise PlugError(param="name", value=name, reason=reason, remedy=remedy)
    told = "left out: " + ", ".join(f"{n} {kind}" for kind, n in sorted(left_out.items()))
    if not pieces:
        raise PlugError(
            param="outline",
            value=path.name,
            reason="it shows no path and no shape" + (f" ({told})" if left_out else ""),
            remedy="draw the outline as a path; texts must be turned into paths first",
        )
    return pieces, (told,) if left_out else ()


def _tree(path: Path, raw: bytes) -> ElementTree.Element:
    """Return the root of the drawing; a file that declares entities is refused, nothing is fetched."""

    def refuse(*_: object) -> None:
        """Stop at the first declaration of an entity."""
        raise PlugError(
            param="outline",
            value=path.name,
            reason="it declares entities, which may name other files and are never resolved",
            remedy="save it as plain SVG, without a DOCTYPE of its own",
        )

    def doctype(_name: str, _system: str | None, _public: str | None, has_own: int) -> None:
        """Let the common DOCTYPE pass, which declares nothing."""
        if has_own:
            refuse()

    builder, parser = ElementTree.TreeBuilder(), expat.ParserCreate(namespace_separator="}")
    parser.StartDoctypeDeclHandler = doctype
    parser.EntityDeclHandler = refuse
    parser.ExternalEntityRefHandler = None
    count = 0

    def start(tag: str, found: dict[str, str]) -> None:
        """Begin an element."""
        nonlocal count
        count += 1
        if count > _MOST_ELEMENTS:
            raise too_much(path.name, f"it has more than {_MOST_ELEMENTS} elements")
        builder.start(_spelt(tag), {_spelt(key): text for key, text in found.items()})

    parser.StartElementHandler = start
    parser.EndElementHandler = lambda tag: builder.end(_spelt(tag))
    try:
        parser.Parse(raw, True)
        root = builder.close()
    except (expat.ExpatError, LookupError, ValueError) as error:
        if isinstance(error, PlugError):
            raise
        raise PlugError(
            param="outline",
            value=path.name,
            reason=f"it is not XML ({error}); it begins with {raw[:12]!r}",
            remedy="save the outline again as plain SVG",
        ) from error
    if _kind(root) != "svg":
        reason = f"it is XML, but not SVG: its root is <{_kind(root)}>"
        remedy = "save the outline as plain SVG"
        raise PlugError(param="outline", value=path.name, reason=reason, remedy=remedy)
    return root


def _spelt(tag: str) -> str:
    """Return a name with its namespace in front, in braces."""
    return "{" + tag if "}" in tag else tag


def _kind(element: ElementTree.Element) -> str:
    """Return the name of an element without its namespace."""
    return element.tag.rpartition("}")[2]


def _page(path: Path, root: ElementTree.Element, unit: str | None) -> tuple[_Place, float]:
    """Return the matrix from the root's user units to mm, and the height of the page in mm."""
    sides = [_LENGTH.fullmatch(root.get(side, "")) for side in ("width", "height")]
    real = [float(m[1]) * _MM_PER[m[2].lower()] if m and m[2].lower() in _MM_PER else None for m in sides]
    view = [float(number) for number in _NUMBERS.findall(root.get("viewBox", ""))]
    has_view = len(view) == 4 and view[2] > 0.0 and view[3] > 0.0
    if unit is not None:
        scale = mm_per(unit)
        for found, span in zip(real, view[2:] if has_view else (), strict=False):
            if found is not None and abs(found / (scale * span) - 1.0) > 1e-3:
                raise PlugError(
                    param="unit",
                    value=unit,
                    reason=f"the drawing says that its page is {found:g} mm for {span:g} units",
                    remedy="leave unit out, or save the drawing in the unit meant",
                    where=path.name,
                )
        corner = view[:2] if has_view else [0.0, 0.0]
        high = view[3] if has_view else float(sides[1][1]) if sides[1] else 0.0
        matrix = np.array([[scale, 0.0, -scale * corner[0]], [0.0, scale, -scale * corner[1]]])
        return _Place(matrix=matrix), scale * high
    if has_view and real[0] is None and real[1] is not None:
        real[0] = real[1] * view[2] / view[3]
    if has_view and real[1] is None and real[0] is not None:
        real[1] = real[0] * view[3] / view[2]
    if real[0] is None or real[1] is None or real[0] <= 0.0 or real[1] <= 0.0:
        found_text = f"width={root.get('width')!r} height={root.get('height')!r}"
        raise PlugError(
            param="unit",
            value=found_text,
            reason="width and height of the drawing have no real unit, so nobody knows its size",
            remedy='give unit="mm", what one user unit is, or save it with width and height in mm or in',
            where=path.name,
        )
    # without a viewBox a user unit is a px
    pixels = np.eye(3)[:2] * (25.4 / 96.0)
    return _Place(matrix=_view_matrix(root, view, real[0], real[1]) if has_view else pixels), real[1]


def _lift(matrix: Array) -> Array:
    """Return a 2 x 3 matrix with its third row."""
    return np.vstack((matrix, (0.0, 0.0, 1.0)))


def _moved(place: _Place, matrix: Array, kind: str) -> Array:
    """Return the matrix to mm of what stands in a place by a matrix of its own."""
    found = place.matrix @ _lift(matrix)
    if not (np.abs(found) <= _LARGEST_NUMBER).all():
        raise PlugError(
            param=f"transform of <{kind}>",
            value=f"up to {float(np.abs(found).max()):.4g}",
            reason=f"with those around it, it moves or stretches by more than {_LARGEST_NUMBER:g}",
            remedy="save the drawing as plain SVG, with transforms applied",
        )
    return np.asarray(found, dtype=np.float64)


def _view_matrix(element: ElementTree.Element, view: list[float], width: float, height: float) -> Array:
    """Return the matrix that fits a viewBox into a width and a height."""
    sx, sy = width / view[2], height / view[3]
    words = element.get("preserveAspectRatio", "xMidYMid meet").split()
    align = next((word for word in words if word.startswith("x") or word == "none"), "xMidYMid")
    if align != "none":
        # the standard's word for filling the box, part of the drawing falling outside
        sx = sy = max(sx, sy) if words[-1:] == ["slice"] else min(sx, sy)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    left = share.get(align[1:4], 0.0) * (width - sx * view[2])
    top = share.get(align[5:8], 0.0) * (height - sy * view[3])
    return np.array([[sx, 0.0, left - sx * view[0]], [0.0, sy, top - sy * view[1]]])


def _shown(
    element: ElementTree.Element, by_id: _Elements, place: _Place, seen: _Seen
) -> Iterator[tuple[ElementTree.Element, _Place]]:
    """Yield the shapes of a drawing in order, each with its place; count what else is shown."""
    seen.one_more()
    kind = _kind(element)
    parts = "".join(element.get("style", "").split()).split(";")
    style = dict(part.split(":", 1) for part in parts if ":" in part)
    if kind in _NOT_DRAWN or "none" in (element.get("display"), style.get("display")):
        return
    if place.depth > _DEEPEST:
        raise PlugError(
            param=f"<{kind}>",
            value=f"{place.depth} deep",
            reason="groups and copies stand within each other too deeply, or within themselves",
            remedy="save the drawing as plain SVG, with copies turned into paths",
        )
    sight = style.get("visibility", element.get("visibility"))
    labels = [text for key, text in element.attrib.items() if key == "id" or key.endswith("}label")]
    place = _Place(
        matrix=_moved(place, _transform(element), kind),
        names=(*place.names, *labels),
        depth=place.depth + 1,
        is_hidden=place.is_hidden if sight is None else sight != "visible",
    )
    if kind in _SHAPES:
        if not place.is_hidden:
            yield element, place
    elif kind == "use":
        yield from _copy(element, by_id, place, seen)
    elif kind in _GROUPS:
        if kind == "svg" and place.depth > 1:
            place = replace(place, matrix=_moved(place, _viewport(element, element), kind))
        for child in element:
            yield from _shown(child, by_id, place, seen)
    elif "}" not in element.tag or element.tag.startswith("{http://www.w3.org/2000/svg}"):
        seen.left_out[f"<{kind}>"] = seen.left_out.get(f"<{kind}>", 0) + 1


def _copy(
    element: ElementTree.Element, by_id: _Elements, place: _Place, seen: _Seen
) -> Iterator[tuple[ElementTree.Element, _Place]]:
    """Yield the shapes of what a use element points at."""
    link = element.get("href", element.get(_XLINK, ""))
    target = by_id.get(link[1:]) if link.startswith("#") else None
    if target is None:
        raise PlugError(
            param="use",
            value=link or "(no href)",
            reason="nothing in the drawing has this id, and other files are never opened",
            remedy="save the drawing as plain SVG, with copies turned into paths",
        )
    if _kind(target) != "symbol":
        x, y = (_length(element, key) for key in ("x", "y"))
        moved = replace(place, matrix=_moved(place, np.array([[1.0, 0.0, x], [0.0, 1.0, y]]), "use"))
        yield from _shown(target, by_id, moved, seen)
        return
    moved = replace(place, matrix=_moved(place, _viewport(element, target), "use"))
    for child in target:
        yield from _shown(child, by_id, moved, seen)


def _viewport(at: ElementTree.Element, viewed: ElementTree.Element) -> Array:
    """Return the matrix of a drawing within the drawing: its corner and its viewBox."""
    x, y = _length(at, "x"), _length(at, "y")
    matrix = np.array([[1.0, 0.0, x], [0.0, 1.0, y]])
    view = [float(number) for number in _NUMBERS.findall(viewed.get("viewBox", ""))]
    if len(view) != 4:
        return matrix
    if view[2] <= 0.0 or view[3] <= 0.0 or not at.get("width") or not at.get("height"):
        raise PlugError(
            param="viewBox",
            value=viewed.get("viewBox"),
            reason="a drawing within the drawing needs a width, a height and a viewBox larger than nothing",
            remedy="save the drawing as plain SVG, with symbols turned into paths",
        )
    size = (_length(at, "width"), _length(at, "height"))
    return matrix @ _lift(_view_matrix(viewed, view, *size))


def _transform(element: ElementTree.Element) -> Array:
    """Return the matrix of an element's transform."""
    text = element.get("transform", "")
    matrix, end = np.eye(3), 0
    while (match := _TRANSFORM.match(text, end)) is not None:
        numbers = [float(number) for number in _NUMBERS.findall(match[2])]
        make = _MATRICES.get(match[1])
        is_bare = not _NUMBERS.sub("", match[2]).strip(" ,\t\r\n")
        is_sane = all(abs(number) <= _LARGEST_NUMBER for number in numbers)
        if make is None or not is_bare or not is_sane or len(numbers) not in make[0]:
            break
        matrix, end = matrix @ _lift(make[1](numbers)), match.end()
    if text[end:].strip(" ,\t\r\n"):
        raise PlugError(
            param=f"transform of <{_kind(element)}>",
            value=text[end:].strip(),
            reason="it is not a transform of SVG with bare numbers",
            remedy=f"write it with {', '.join(_MATRICES)}",
        )
    return matrix[:2]


def _rotation(numbers: list[float]) -> Array:
    """Return the matrix of a rotation about a point."""
    turn = math.radians(numbers[0])
    c, s = math.cos(turn), math.sin(turn)
    x, y = numbers[1:] or (0.0, 0.0)
    return np.array([[c, -s, x - c * x + s * y], [s, c, y - s * x - c * y]])


_MATRICES: Final[dict[str, tuple[tuple[int, ...], Callable[[list[float]], Array]]]] = {
    "matrix": ((6,), lambda v: np.array([v[0::2], v[1::2]])),
    "translate": ((1, 2), lambda v: np.array([[1.0, 0.0, v[0]], [0.0, 1.0, (*v, 0.0)[1]]])),
    "scale": ((1, 2), lambda v: np.array([[v[0], 0.0, 0.0], [0.0, v[-1], 0.0]])),
    "rotate": ((1, 3), _rotation),
    "skewX": ((1,), lambda v: np.array([[1.0, math.tan(math.radians(v[0])), 0.0], [0.0, 1.0, 0.0]])),
    "skewY": ((1,), lambda v: np.array([[1.0, 0.0, 0.0], [math.tan(math.radians(v[0])), 1.0, 0.0]])),
}


def _length(element: ElementTree.Element, key: str) -> float:
    """Return a length of a shape in user units, 0 if it is not given."""
    text = element.get(key, "0")
    match = _LENGTH.fullmatch(text)
    word = match[2].lower() if match else "%"
    is_sane = match is not None and abs(float(match[1])) <= _LARGEST_NUMBER
    if match is not None and is_sane and word in ("", "px"):
        return float(match[1])
    if match is not None and is_sane and word in _MM_PER:
        # SVG counts 96 user units to the inch, whatever the viewBox makes of them
        return float(match[1]) * _MM_PER[word] * 96.0 / 25.4
    raise PlugError(
        param=f"{key} of <{_kind(element)}>",
        value=text,
        reason="it is not a length in user units or in mm, cm, in, pt or pc",
        remedy="save the drawing as plain SVG, with shapes turned into paths",
    )


def _runs(element: ElementTree.Element, chord: float) -> list[tuple[Complexes, bool]]:
    """Return the points of a shape, in its user units."""
    kind = _kind(element)
    name = element.get("id") or f"<{kind}>"
    if kind == "path":
        return path_runs(element.get("d", ""), chord, name)

    def lengths(*keys: str) -> list[float]:
        """Return some lengths of the shape."""
        return [_length(element, key) for key in keys]

    if kind == "line":
        x1, y1, x2, y2 = lengths("x1", "y1", "x2", "y2")
        return path_runs(f"M{x1!r} {y1!r}L{x2!r} {y2!r}", chord, name)
    if kind in ("polyline", "polygon"):
        text = element.get("points", "").strip()
        return path_runs(f"M{text}{'z' if kind == 'polygon' else ''}" if text else "", chord, name)
    if kind == "rect":
        x, y, w, h = lengths("x", "y", "width", "height")
        rx, ry = (_length(element, a if element.get(a) else b) for a, b in (("rx", "ry"), ("ry", "rx")))
        rx, ry = min(rx, w / 2.0), min(ry, h / 2.0)
        if w <= 0.0 or h <= 0.0:
            return []
        if rx <= 0.0 or ry <= 0.0:
            return path_runs(f"M{x!r} {y!r}h{w!r}v{h!r}h{-w!r}z", chord, name)
        corner = f"a{rx!r} {ry!r} 0 0 1 "
        text = (
            f"M{x + rx!r} {y!r}H{x + w - rx!r}{corner}{rx!r} {ry!r}V{y + h - ry!r}{corner}{-rx!r} {ry!r}"
            f"H{x + rx!r}{corner}{-rx!r} {-ry!r}V{y + ry!r}{corner}{rx!r} {-ry!r}z"
        )
        return path_runs(text, chord, name)
    cx, cy = lengths("cx", "cy")
    rx, ry = lengths("r", "r") if kind == "circle" else lengths("rx", "ry")
    arc = f"a{rx!r} {ry!r} 0 0 1 "
    text = f"M{cx + rx!r} {cy!r}{arc}{-2.0 * rx!r} 0{arc}{2.0 * rx!r} 0z"
    return path_runs(text, chord, name) if rx > 0.0 and ry > 0.0 else []
