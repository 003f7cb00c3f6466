"""The map of cloth: the plug seen from corners, its zones lettered, and each of them laid flat."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import compress, product
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.cloth.cloth import Pattern
from plugs.cloth.seams import zone_letters
from plugs.cloth.zones import Patch, Zoned
from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import TEXT_WIDTH_RATIO, Drawing, Label
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Pointer, Row, Sign
from plugs.drafting.styles import ZONE_EDGE
from plugs.ground.units import format_length
from plugs.mesh.projection import Projection
from plugs.mesh.triangles import normals
from plugs.words.ways import called

Array = NDArray[np.float64]

_WIDE: Final = 190.0  # mm. On the narrowest paper
_VIEWS_TALL: Final = 52.0  # mm. Of the views
_FLATS_TALL: Final = 60.0  # mm. Of the zones laid flat, if they can be
_MOST_VIEWS: Final = 3  # side by side on the narrowest paper, each as wide as a hand
_SHOWN: Final = 0.25  # of a patch's area, as it is seen: less of it is not looked at from there
_GAP: Final = 8.0  # mm. Between two flat zones: names of their neighbours stand there
_TEXT: Final = 2.2  # mm. Of a letter, as in a table of the shop pack
_HEAD: Final = 4.0  # mm. Of a letter of the heading
_ROW: Final = 3.8  # mm. From row to row
_LETTER: Final = 5.0  # mm. Of a zone's letter: read from a step away
_THINNED: Final = 0.1  # mm on the page. Edges are drawn no finer
_SCALES: Final = (1, 2, 4, 5, 8, 10, 12, 15, 16, 20, 24, 25, 32, 40, 50, 100, 200)  # of rulers, mm and inch
_EQUAL: Final = 6  # decimals, of mm: what differs by less is one place


def cloth_map(
    surface: Zoned, whole: Sequence[Pattern], *, path: str, plug_name: str, display_unit: str = "mm"
) -> Drawing:
    """Return the map of a plug's cloth.

    Parameters
    ----------
    surface : Zoned
    whole : sequence of Pattern
        What the plies of each patch share.
    path : str
        Where its files go, without their ending.
    plug_name : str
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        In mm on the page, its upper left corner at the origin: views, not to scale, and the zones laid flat,
        to scale, with their letters, their neighbours' and which way the warp runs.
    """
    builder = DrawingBuilder(path=path, title=f"{plug_name}, map of cloth", display_unit=display_unit)
    letters = zone_letters(surface.patches)
    builder.write(Label(text="Cloth: which piece goes where", at=(0.0, -_HEAD), height=_HEAD))
    top = _views(builder, surface.patches, letters, -_HEAD - 4.0)
    _flats(builder, surface.patches, whole, letters, top - 4.0)
    return builder.drawing()


def _views(
    builder: DrawingBuilder, patches: Sequence[Patch], letters: Mapping[int, str], top: float
) -> float:
    """Draw the plug from each corner that is wanted, side by side; return where that ends."""
    views = _corners(patches)
    wide = _WIDE / max(len(views), 1)
    for k, (words, view, seen, lettered) in enumerate(views):
        rims = [_rim_seen(patch, view) for patch in seen]
        drawn = shapely.union_all([shapely.multilinestrings(shapely.linestrings(r)) for r in rims if len(r)])
        x0, y0, x1, y1 = drawn.bounds
        scale = max((x1 - x0) / (wide - 12.0), (y1 - y0) / _VIEWS_TALL)
        move = np.array([k * wide + 0.5 * wide - 0.5 * (x0 + x1) / scale, top - y1 / scale])
        merged = shapely.simplify(shapely.line_merge(drawn), _THINNED * scale)
        for part in shapely.get_parts(merged):
            if part.length > 0.0:
                builder.line(shapely.get_coordinates(part) / scale + move, ZONE_EDGE)
        for patch in lettered:
            region = shapely.simplify(_covered(_faces_seen(patch, view) / scale + move), _THINNED)
            _letter(builder, region, letters[patch.zone], Sign(rows=(), least=2.5, largest=_LETTER))
        under = top - _VIEWS_TALL - 5.0 - (k % 2) * _ROW  # longer than a view is wide
        builder.write(Label(text=words, at=(k * wide, under), height=_TEXT))
    return top - _VIEWS_TALL - 5.0 - (len(views) > 1) * _ROW


def _corners(patches: Sequence[Patch]) -> list[tuple[str, Projection, list[Patch], list[Patch]]]:
    """Return the corners to look from, the fewest that show what can be seen, with what is seen and lettered.

    What hardly shows is hidden behind the rest.
    """
    found = list[tuple[str, Projection, list[Patch], list[Patch]]]()
    ways = [_from(x, y, z) for z, y, x in product((1.0, -1.0), (-1.0, 1.0), (1.0, -1.0))]
    shown = np.array([_shares_seen(patch, [view for _, view in ways]) for patch in patches]).T
    left = np.ones(len(patches), dtype=np.bool_)
    while left.any() and len(found) < _MOST_VIEWS:
        is_seen = (shown > _SHOWN) & left
        counts = is_seen.sum(axis=1)
        # the most zones, and of as many the best shown
        best = max(
            range(len(ways)), key=lambda k: (counts[k], round(float(shown[k][is_seen[k]].sum()), _EQUAL))
        )
        if not counts[best]:
            break
        drawn, lettered = (list(compress(patches, mine)) for mine in (shown[best] > _SHOWN, is_seen[best]))
        found.append((*ways[best], drawn, lettered))
        left &= ~is_seen[best]
    return found


def _from(x: float, y: float, z: float) -> tuple[str, Projection]:
    """Return the words for a corner of the plug and the view from there, level axes at a slant."""
    toward = np.array([x, y, z]) / math.sqrt(3.0)
    right = np.cross([0.0, 0.0, 1.0], toward)
    right /= np.linalg.norm(right)
    up = np.cross(toward, right)
    ways = called()
    words = (
        ways.from_rear if x > 0.0 else ways.from_front,
        ways.from_right if y > 0.0 else ways.from_left,
        "from above" if z > 0.0 else "from below",
    )
    view = Projection(right=(right[0], right[1], right[2]), up=(up[0], up[1], up[2]))
    return f"Seen {', '.join(words)}; not to scale", view


def _shares_seen(patch: Patch, views: Sequence[Projection]) -> list[float]:
    """Return the share of a patch's area that shows in each view, as if nothing stood before it."""
    normal, area = normals(patch.vertices.take(patch.triangles, axis=0))
    facing = [np.maximum(view.seen(normal)[:, 2], 0.0) for view in views]
    return [float((area * one).sum() / area.sum()) for one in facing]


def _rim_seen(patch: Patch, view: Projection) -> Array:
    """Return (k, 2, 2) the edges of a patch's rim beside triangles that face the eye."""
    normal, _ = normals(patch.vertices.take(patch.triangles, axis=0))
    facing = view.seen(normal)[:, 2] > 0.0
    sides = np.stack([patch.triangles, np.roll(patch.triangles, -1, axis=1)], axis=2)[facing].reshape(-1, 2)
    way = np.array((len(patch.vertices), 1))
    rim = patch.rim[np.isin(patch.rim @ way, sides @ way)]
    # each from its lesser end on, so that a seam that two patches share is one line
    ends = np.round(view.seen(patch.vertices[rim.reshape(-1, 2)])[..., :2], _EQUAL)
    swap = (ends[:, 0, 0] > ends[:, 1, 0]) | (
        (ends[:, 0, 0] == ends[:, 1, 0]) & (ends[:, 0, 1] > ends[:, 1, 1])
    )
    return np.asarray(np.where(swap[:, None, None], ends[:, ::-1], ends))


def _faces_seen(patch: Patch, view: Projection) -> Array:
    """Return (k, 3, 2) the triangles of a patch that face the eye."""
    corners = view.seen(patch.vertices.take(patch.triangles, axis=0))[..., :2]
    ways = corners[:, 1:] - corners[:, :1]
    return np.asarray(corners[ways[:, 0, 0] * ways[:, 1, 1] - ways[:, 0, 1] * ways[:, 1, 0] > 0.0])


def _covered(faces: Array) -> shapely.Geometry:
    """Return the region that triangles cover, from its lowest vertex on.

    Triangles that lie side by side are joined along their sides, which is soon done; where some lie over
    others, as where a patch turns back over itself, their sides are looked for.
    """
    triangles = shapely.polygons(faces)
    with suppress(shapely.GEOSException):
        joined = shapely.coverage_union_all(triangles)
        if joined.is_valid and math.isclose(joined.area, shapely.area(triangles).sum(), rel_tol=1e-9):
            return joined.normalize()
    return shapely.union_all(triangles).normalize()


def _letter(builder: DrawingBuilder, region: shapely.Geometry, letter: str, *more: Sign) -> None:
    """Ask for a zone's letter in a region, with rows under it where there is room, else beside it."""
    signs = [replace(sign, rows=(Row(text=letter), *sign.rows)) for sign in more]
    x, y = shapely.get_coordinates(shapely.point_on_surface(region))[0].tolist()
    plain = Label(text=letter, at=(x, y), height=3.0, align="centre")
    builder.sign(region, *signs, over_lines=False, instead=Beside(choices=(plain,), to=(x, y), within=region))


def _flats(
    builder: DrawingBuilder,
    patches: Sequence[Patch],
    whole: Sequence[Pattern],
    letters: Mapping[int, str],
    top: float,
) -> None:
    """Draw the zones laid flat, row by row, with their letters, their neighbours' and the way of the warp."""
    zones = {patch.name: patch.zone for patch in patches}
    boxes = [pattern.zone_outline.bounds for pattern in whole]
    sizes = [(right - left, high - low) for left, low, right, high in boxes]
    scale, spots = _laid(sizes)
    for pattern, (left, _, _, high), (x, y) in zip(whole, boxes, spots, strict=True):
        move = (x - left / scale, top - y - high / scale)
        shape = shapely.affinity.scale(pattern.zone_outline, 1.0 / scale, 1.0 / scale, origin=(0.0, 0.0))
        shape = shapely.affinity.translate(shapely.simplify(shape, _THINNED), *move)
        builder.outline(shape, ZONE_EDGE)
        letter = letters[zones[pattern.patch]]
        way = (Row(text=pattern.arrow, ratio=0.6), Pointer(turn_deg=pattern.arrow_deg, length=3.0))
        _letter(
            builder,
            shape,
            letter,
            Sign(rows=way, least=3.2, largest=_LETTER),
            Sign(rows=way[1:], least=2.5, largest=_LETTER),
            Sign(rows=(), least=2.5, largest=_LETTER),
        )
    low = top - max((y + size[1] / scale for size, (_, y) in zip(sizes, spots, strict=True)), default=0.0)
    words = f"Zones laid flat, without laps and trim, seen from outside, 1 : {scale:g}. "
    rows = [
        words + f"The arrow is the way of the warp: forward, up or {called().to_right}.",
        f"A bar of {format_length(50.0 * scale, builder.display_unit)}:",
    ]
    for k, text in enumerate(rows):
        builder.write(Label(text=text, at=(0.0, low - 4.0 - (k + 1) * _ROW), height=_TEXT))
    x = TEXT_WIDTH_RATIO * _TEXT * len(rows[-1]) + 2.0
    y = low - 4.0 - len(rows) * _ROW + 0.5 * _TEXT
    builder.line(np.array([(x, y + 1.0), (x, y), (x + 50.0, y), (x + 50.0, y + 1.0)]), ZONE_EDGE)


def _laid(sizes: Sequence[tuple[float, float]]) -> tuple[float, list[tuple[float, float]]]:
    """Return the largest scale at which shapes have room in rows, and how far right and down each lies."""
    for scale in _SCALES:
        spots, low = _rows(sizes, scale)
        if low <= _FLATS_TALL and all(wide / scale <= _WIDE for wide, _ in sizes):
            return float(scale), spots
    return float(_SCALES[-1]), _rows(sizes, _SCALES[-1])[0]


def _rows(sizes: Sequence[tuple[float, float]], scale: float) -> tuple[list[tuple[float, float]], float]:
    """Return how far right and down each shape lies at a scale, and how far down all of them reach."""
    spots, x, y, tall = list[tuple[float, float]](), 0.0, 0.0, 0.0
    for wide, high in ((wide / scale, high / scale) for wide, high in sizes):
        if x and x + wide > _WIDE:
            x, y, tall = 0.0, y + tall + _GAP, 0.0
        spots.append((x, y))
        x, tall = x + wide + _GAP, max(tall, high)
    return spots, y + tall
