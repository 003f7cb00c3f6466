"""The drawing of a cloth's net on a zone: threads, cells to watch, cells that lock, start and darts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label, Path, paths_box
from plugs.drafting.marks import GAP, ROW, TEXT, arrow
from plugs.drafting.styles import DART_CUT, FIRST_POINT, TIGHT, WEAVE, WRINKLES, ZONE_EDGE
from plugs.drape.darts import Dart
from plugs.drape.drape import Drape
from plugs.drape.geodesic import Flags, Surface, rim_loops
from plugs.ground.units import format_length
from plugs.mesh.projection import (
    FROM_ABOVE,
    FROM_BEHIND,
    FROM_BELOW,
    FROM_FRONT,
    FROM_LEFT,
    FROM_RIGHT,
    Projection,
)
from plugs.words.ways import called

Array = NDArray[np.float64]


_WARP_ARROW: Final = 40.0  # mm. Seen in a drawing of a metre
_SHOWN_RATIO: Final = 0.25  # of the largest area, or of a direction: less of it is not seen from there
_RING: Final = 6.0  # mm. Round the start
_SAME: Final = 1e-6  # mm. Two points so near are one


_VIEWS: Final = ((FROM_ABOVE, FROM_BELOW), (FROM_LEFT, FROM_RIGHT), (FROM_BEHIND, FROM_FRONT))
"""Each from the one side and from the other: a face is drawn as one sees it who stands before it."""


def drape_drawing(
    surface: Surface,
    draped: Drape,
    *,
    zone: str,
    path: str,
    plug_name: str,
    darts: Sequence[Dart] = (),
    display_unit: str = "mm",
) -> Drawing:
    """Return the drawing of a net on a zone in the views that show most of it.

    Parameters
    ----------
    surface : Surface
    draped : Drape
        On that surface.
    zone : str
        Name of the zone.
    path : str
        Where its files go, without their ending.
    plug_name : str
    darts : sequence of Dart
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm: one or two of plan, side and end view, one under the other, with ZONE_EDGE, WEAVE
        (the threads), TIGHT and WRINKLES (one and two strokes through a cell), FIRST_POINT (with the way of
        the warp), DART_CUT.
    """
    builder = DrawingBuilder(
        path=path, title=f"{plug_name}, how the cloth shears on {zone}", display_unit=display_unit
    )
    paths: list[Path] = []
    left, top = 0.0, 0.0
    for view in _best_views(surface):
        drawn = _in_view(surface, draped, darts, view)
        low_x, low_y, _, high_y = paths_box(drawn)
        move = np.zeros(2) if not paths else np.array([left - low_x, top - high_y])
        left = low_x if not paths else left
        paths += [_moved(path, move) for path in drawn]
        top = low_y + float(move[1]) - GAP
        builder.write(Label(text=_view_words(view), at=(left, top - TEXT), height=TEXT))
        top -= ROW + GAP
    # groups in a fixed order, so that each has its own look in every drawing
    order = (ZONE_EDGE, WEAVE, TIGHT, WRINKLES, FIRST_POINT, DART_CUT)
    builder.draw(path for group in order for path in paths if path.dxf_layer == group)
    builder.bars()
    builder.rows([f"{plug_name}: cloth on {zone}", *_rows(draped, darts, display_unit)])
    return builder.drawing()


def _view_words(view: Projection) -> str:
    """Return where a view is seen from, and where the plug's axes run in it."""
    said = called()
    seen = {
        FROM_ABOVE: "from above: x to the right, y up",
        FROM_BELOW: "from below: x to the right, y down",
        FROM_LEFT: f"{said.from_left}: x to the right, z up",
        FROM_RIGHT: f"{said.from_right}: x to the left, z up",
        FROM_BEHIND: f"{said.from_rear}: y to the right, z up",
        FROM_FRONT: f"{said.from_front}: y to the left, z up",
    }
    return f"seen {seen[view]}"


def _best_views(surface: Surface) -> list[Projection]:
    """Return the view that shows most of a surface, and the next if it shows enough."""
    views, shown = [], []
    for sides in _VIEWS:
        toward = [surface.areas_mm2 * view.seen(surface.normal)[:, 2] for view in sides]
        faces = [round(float(one[one > 0.0].sum()), 3) for one in toward]
        shown.append(max(faces))
        views.append(sides[faces.index(shown[-1])])
    order = sorted(range(len(views)), key=lambda k: -shown[k])[:2]
    return [views[k] for k in sorted(order) if shown[k] > _SHOWN_RATIO * max(shown)]


def _in_view(surface: Surface, draped: Drape, darts: Sequence[Dart], view: Projection) -> list[Path]:
    """Return all lines of one view."""
    paths = []
    for loop in rim_loops(surface):
        paths += _line(view.seen(surface.vertices[loop])[:, :2], ZONE_EDGE, is_closed=True)
    knots = view.seen(draped.knots)[..., :2]
    is_warp, is_weft = ~np.isnan(draped.net.warp[0].real), ~np.isnan(draped.net.weft[0].real)
    for column in range(knots.shape[1]):
        paths += _runs(knots[:, column], is_warp[:-1, column], WEAVE)
    for row in range(knots.shape[0]):
        paths += _runs(knots[row], is_weft[row, :-1], WEAVE)
    amount = np.where(draped.counted, np.abs(draped.shear_deg), 0.0)
    is_locked = amount > draped.lock_deg
    paths += _strokes(knots, (amount > draped.warn_deg) & ~is_locked, TIGHT)
    paths += _strokes(knots, is_locked, WRINKLES)
    paths += _strokes(knots[:, ::-1], is_locked[:, ::-1], WRINKLES)
    paths += _start(draped, view)
    for dart in darts:
        paths += _line(view.seen(dart.line)[:, :2], DART_CUT)
    return paths


def _line(points: Array, dxf_layer: str, *, is_closed: bool = False) -> list[Path]:
    """Return a line of straight pieces, none where all points are one to the eye."""
    is_new = np.ones(len(points), dtype=np.bool_)
    before = points[-1] if is_closed else np.full(2, np.inf)
    is_new[1:] = np.abs(np.diff(points, axis=0)).max(axis=1) > _SAME
    is_new[0] = bool(np.abs(points[0] - before).max() > _SAME)
    kept = points[is_new]
    if len(kept) < 2:
        return []
    return [Path(points=kept, bulges=np.zeros(len(kept)), is_closed=is_closed, dxf_layer=dxf_layer)]


def _runs(knots: Array, is_joined: Flags, dxf_layer: str) -> list[Path]:
    """Return a row of knots as lines, broken where one is not joined to the next."""
    change = np.flatnonzero(np.diff(np.concatenate([[0], is_joined.astype(np.int8), [0]])))
    paths = []
    for begin, finish in zip(change[::2].tolist(), change[1::2].tolist(), strict=True):
        paths += _line(knots[begin : finish + 1], dxf_layer)
    return paths


def _strokes(knots: Array, is_marked: Flags, dxf_layer: str) -> list[Path]:
    """Return a stroke through each cell that is marked, from knot to knot, joined where they meet."""
    paths = []
    rows, columns = is_marked.shape
    for shift in range(1 - rows, columns):
        marked = is_marked.diagonal(shift)
        if marked.any():
            first = np.arange(len(marked) + 1)
            along = knots[first + max(-shift, 0), first + max(shift, 0)]
            paths += _runs(along, marked, dxf_layer)
    return paths


def _start(draped: Drape, view: Projection) -> list[Path]:
    """Return a ring round the start and an arrow along the warp."""
    x, y, _ = view.seen(draped.start)
    turn = 0.25 * np.pi + np.arange(4) * 0.5 * np.pi
    ring = np.column_stack([x + _RING * np.cos(turn), y + _RING * np.sin(turn)])
    bulge = np.full(4, np.tan(np.pi / 8.0))
    paths = [Path(points=ring, bulges=bulge, is_closed=True, dxf_layer=FIRST_POINT)]
    way = view.seen(draped.warp)[:2]
    if float(np.hypot(*way)) > _SHOWN_RATIO:
        tip = (float(x + _WARP_ARROW * way[0]), float(y + _WARP_ARROW * way[1]))
        for path in arrow((float(x), float(y)), tip):
            paths += _line(path.points, FIRST_POINT)
    return paths


def _moved(path: Path, move: Array) -> Path:
    """Return a path at another place."""
    return Path(
        points=path.points + move, bulges=path.bulges, is_closed=path.is_closed, dxf_layer=path.dxf_layer
    )


def _rows(draped: Drape, darts: Sequence[Dart], unit: str) -> list[str]:
    """Return what the drawing says in words."""

    def length(value: float) -> str:
        return format_length(round(value, 1), unit)

    def place(point: Array) -> str:
        return ", ".join(
            f"{axis} = {length(value)}" for axis, value in zip("xyz", point.tolist(), strict=True)
        )

    rows = [
        f"{WEAVE}: threads, warp and weft, {length(draped.cell)} apart, pinned at {FIRST_POINT}; "
        "the arrow: warp",
        f"Largest shear of a cell {draped.largest_shear_deg:.1f} deg at {place(draped.largest_at)}",
        f"{TIGHT}: one stroke, over {draped.warn_deg:g} deg: {100.0 * draped.warned_ratio:.1f} % of the area",
        f"{WRINKLES}: crossed, over {draped.lock_deg:g} deg, where the cloth wrinkles: "
        f"{100.0 * draped.locked_ratio:.1f} %, {draped.n_locked} cells",
        f"Cloth for it {length(draped.warp_mm)} along the warp, {length(draped.weft_mm)} across; "
        f"the net lies on {100.0 * draped.reached_ratio:.0f} % of the zone",
    ]
    if draped.hides_a_corner:
        corner = f"about {math.ceil(draped.most_shear_deg)} deg, at {place(draped.most_at)}"
        rows.insert(2, f"In a corner smaller than that {corner}")
    for dart in darts:
        rows.append(
            f"{DART_CUT}: {length(dart.length)} long, {length(dart.width)} wide at the edge "
            f"({dart.angle_deg:.0f} deg): shear from {dart.before_deg:.0f} to about {dart.after_deg:.0f} deg"
        )
    return rows
