"""Templates of edges at full size: of a mating face, and the face unrolled; of the part where it ends."""

from __future__ import annotations

from functools import partial
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.body_face import BodyFace
from plugs.body.mating import MatingFace
from plugs.cloth.strips import TrimLine
from plugs.drafting.arcs import fit_arcs
from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import TEXT_WIDTH_RATIO, Drawing, Label, Path, path_bounds
from plugs.drafting.laying import lay_out
from plugs.drafting.marks import GAP, TEXT, arrow
from plugs.drafting.outlines import canonical_rings
from plugs.drafting.styles import CUT_LINE, FLANGE_LINE, FOAM_EDGE, PLUG_EDGE, TRIM_LINE, UNROLLED_FACE
from plugs.ground.amounts import amount
from plugs.ground.units import format_length, format_within
from plugs.mesh.triangles import facing
from plugs.words.ways import called

Array = NDArray[np.float64]


_ARROW: Final = 25.0  # mm. Long enough for its letter beside it
_SHOWN: Final = 0.3  # of its length: an axis that points more into the paper is not drawn
_ON_AXIS: Final = 0.999  # cosine of 2.6 degrees: seen square on, but for rounding and modelling
_PAST: Final = 40.0  # mm. The board of a turned edge past the trim line: for the cloth that overhangs
_UNDER: Final = 40.0  # mm. And under the plug: room for screws (common practice, no source)
_FINE: Final = 0.005  # mm. Less than is cut


def _seen_along(axis: int) -> str:
    """Return where something is seen from that is seen along an axis."""
    return f"seen {(called().from_rear, called().from_left, 'from above')[axis]}"


def _view_words(view: str) -> str:
    """Return what a contour's view is called, and where it is seen from."""
    return f"{view} view, {_seen_along({'plan': 2, 'side': 1, 'end': 0}[view])}"


def edge_drawing(
    face: MatingFace | BodyFace, *, path: str, plug_name: str, display_unit: str = "mm"
) -> Drawing:
    """Return the template of a mating face's edge.

    Parameters
    ----------
    face : MatingFace or BodyFace
        Of a contour: its edge in the contour's view, and the face unrolled under it. Of a body: the
        loops of its edge, seen so that they enclose most.
    path : str
        Where its files go, without their ending.
    plug_name : str
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm. In a contour's view, and along x, y or z, in the plug's own coordinates.
    """
    builder = DrawingBuilder(path=path, title=f"{plug_name}, edge of {face.name}", display_unit=display_unit)
    paths, axes, seen = _contour_edge(face) if isinstance(face, MatingFace) else _body_edge(face)
    builder.draw(paths)
    lay_out(builder)
    builder.under(partial(_axis_arrows, axes))
    builder.bars(0.0)
    gap = _gap_row(face, display_unit)
    builder.rows([plug_name, f"{face.name}: {seen}", *_edge_rows(face, display_unit), gap])
    if isinstance(face, MatingFace):
        builder.under(partial(_unrolled, face))
        builder.rows(_unrolled_rows(face, display_unit))
    return builder.drawing()


def trim_drawing(trim: TrimLine, *, path: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the template by which the edge of a part is marked and trimmed.

    Parameters
    ----------
    trim : TrimLine
    path : str
        Where its files go, without their ending.
    plug_name : str
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm: the finished edge, the foam's own, and the trim line, seen square to them.
    """
    strip, unit = trim.strip, display_unit
    builder = DrawingBuilder(
        path=path, title=f"{plug_name}, {strip.edge.name} on {strip.place}", display_unit=unit
    )
    lines = [*strip.runs(strip.lines), *trim.lines]
    axes, seen = _view(_flattest(np.concatenate(lines)))
    for dxf_layer, runs in (
        (PLUG_EDGE, strip.runs(strip.lines)),
        (FOAM_EDGE, strip.runs(strip.foam_lines)),
        (TRIM_LINE, trim.lines),
    ):
        builder.draw([_open(run @ axes, dxf_layer) for run in runs])
    if strip.is_turned:
        builder.outline(_board(trim, axes), CUT_LINE)
    lay_out(builder, axes=_axis_names(axes))
    builder.under(partial(_axis_arrows, axes))
    builder.bars(0.0)
    builder.rows(
        [
            plug_name,
            f"{strip.edge.name}: {strip.edge.kind} on {strip.place}, {seen}",
            *_trim_rows(trim, unit),
        ]
    )
    return builder.drawing()


def _board(trim: TrimLine, axes: Array) -> shapely.MultiPolygon:
    """Return the board of a turned edge: past the trim line, and under the plug, which it is screwed to."""
    found = []
    foam = shapely.MultiLineString([run @ axes for run in trim.strip.runs(trim.strip.foam_lines)])
    for line in trim.lines:
        flat, under = line @ axes, trim.from_foam[1] + _UNDER
        if np.allclose(flat[0], flat[-1]):
            whole = shapely.Polygon(flat)
            found.append(_grown(whole, _PAST).difference(_grown(whole, -under)))
            continue
        path = shapely.LineString(flat)
        toward = 1.0 if _beside(path, 1.0).distance(foam) < _beside(path, -1.0).distance(foam) else -1.0
        found += [_beside(path, toward * under), _beside(path, -toward * _PAST)]
    return _polygons(shapely.union_all(found))


def _grown(shape: shapely.Geometry, by: float) -> shapely.Geometry:
    """Return a shape with its edge moved out, or in, its corners sharp."""
    return shapely.buffer(shape, by, join_style="mitre", mitre_limit=3.0)


def _beside(line: shapely.LineString, by: float) -> shapely.Geometry:
    """Return what lies to the left of a line, or to its right."""
    return shapely.buffer(line, by, single_sided=True, join_style="mitre", mitre_limit=3.0)


def _polygons(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """Return the polygons of a shape."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    return shapely.MultiPolygon([part for part in parts if isinstance(part, shapely.Polygon)])


def _trim_rows(trim: TrimLine, unit: str) -> list[str]:
    """Return what is to be known of a trim line and the lines that it is measured from."""
    strip = trim.strip
    least, most = (format_length(value, unit) for value in trim.from_foam)
    from_foam = least if least == most else f"{least} to {most}"
    gutter = strip.edge.gutter
    inset, width, depth, radius = (
        format_length(value, unit)
        for value in (
            (0.0,) * 4 if gutter is None else (gutter.inset, gutter.width, gutter.depth, gutter.floor_radius)
        )
    )
    channel = (
        f"Channel of the finished part: {inset} in from the edge, {width} wide, {depth} deep, feet {radius}"
    )
    way, on = ("out", "board") if strip.is_turned else ("in", "foam")
    under = format_length(_UNDER, unit)
    board = f"{CUT_LINE}: the flange board, fixed flush with {strip.place}, {under} under it"
    square = "a square held to the face beside it"
    return [
        *([board] if strip.is_turned else []),
        f"{PLUG_EDGE}: the finished edge along {strip.told}, as if it were sharp",
        f"{FOAM_EDGE}: that of the foam, as if it were sharp",
        f"{TRIM_LINE}: {format_length(strip.edge.width, unit)} {way} from the finished edge; "
        f"{format_length(trim.length, unit)} long",
        f"On the {on} it is marked {from_foam} {way} from the foam's edge: {square}",
        f"{amount('area_m2', trim.area_mm2 / 1e6, unit)} laid up; past the trim line it is cut off",
        *([] if gutter is None else [channel]),
    ]


def _gap_row(face: MatingFace | BodyFace, unit: str) -> str:
    """Return the gap asked for, and how well it was kept, in words."""
    gap = f"Gap to the body {format_length(face.gap, unit)}"
    if not face.count:
        return gap
    places = "measured points" if isinstance(face, MatingFace) else "places"
    return f"{gap}; {face.count} {places} within {format_within(face.largest_mm, unit)} of that"


def _open(points: Array, dxf_layer: str) -> Path:
    """Return a line through points, those left out that lie on it as near as can be cut."""
    kept = shapely.get_coordinates(shapely.simplify(shapely.LineString(points), _FINE))
    return Path(points=kept, bulges=np.zeros(len(kept)), is_closed=False, dxf_layer=dxf_layer)


def _closed(ring: Array, dxf_layer: str) -> Path:
    """Return a ring as lines and arcs."""
    points, bulges = fit_arcs(ring)
    return Path(points=points, bulges=bulges, is_closed=True, dxf_layer=dxf_layer)


def _contour_edge(face: MatingFace) -> tuple[list[Path], Array, str]:
    """Return the edge in the contour's view, the axes in that view, and its name."""
    axes = np.zeros((3, 2))
    for column, axis in enumerate(face.axes):
        axes["xyz".index(axis), column] = 1.0
    return [_open(face.edge, PLUG_EDGE)], axes, _view_words(face.cut.item.view)


def _body_edge(face: BodyFace) -> tuple[list[Path], Array, str]:
    """Return the edge's loops and the flange's line seen square to the face, the axes there, and the view."""
    axes, seen = _view(_toward(face))
    paths = []
    for loop in face.loops:
        flat = loop @ axes
        if shapely.Polygon(flat).area > 1.0:
            paths.append(_closed(flat, PLUG_EDGE))
        else:
            paths.append(_open(np.vstack([flat, flat[:1]]), PLUG_EDGE))
    for loop in face.flange_loops:
        paths.append(_closed(_smooth(loop @ axes), FLANGE_LINE))
    return paths, axes, seen


def _smooth(ring: Array) -> Array:
    """Return a ring without the points that lie on it as near as can be cut."""
    kept = shapely.get_coordinates(shapely.simplify(shapely.LinearRing(ring), _FINE))
    return np.asarray(kept[:-1] if len(kept) > 3 else ring)


def _toward(face: BodyFace) -> Array:
    """Return the direction that is square to the plane in which the edge of a face encloses most."""
    area = 0.5 * facing(face.corners).sum(axis=0)
    size = float(np.linalg.norm(area))
    return np.asarray(area / size) if size > 0.01 * face.area_mm2 else _flattest(np.concatenate(face.loops))


def _view(toward: Array) -> tuple[Array, str]:
    """Return the plane that is seen square from a direction, as the images of the axes, and its name."""
    main = int(np.argmax(np.abs(toward)))
    is_square = abs(float(toward[main])) > _ON_AXIS
    if is_square:
        toward = np.eye(3)[main]
    toward = np.round(toward * np.sign(toward[main]) * (-1.0 if main == 1 else 1.0), 9) + 0.0
    if main == 2:
        right = np.array([1.0, 0.0, 0.0]) - toward[0] * toward
        right /= np.linalg.norm(right)
        up = np.cross(toward, right)
    else:
        up = np.array([0.0, 0.0, 1.0]) - toward[2] * toward
        up /= np.linalg.norm(up)
        right = np.cross(up, toward)
    tilt = "" if is_square else (
        f", turned to look square at the edge, from ({toward[0]:+.3f}, {toward[1]:+.3f}, {toward[2]:+.3f})"
    )  # fmt: skip
    return np.column_stack([right, up]) + 0.0, _seen_along(main) + tilt


def _flattest(points: Array) -> Array:
    """Return the direction in which points differ least."""
    _, _, rows = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
    return np.asarray(rows[-1])


def _axis_arrows(axes: Array, left: float, top: float) -> tuple[list[Path], list[Label], float]:
    """Return an arrow for each axis to be seen, their names, and where the next row may begin."""
    seen = [(name, _ARROW * axis) for name, axis in zip("xyz", axes, strict=True) if np.hypot(*axis) > _SHOWN]
    lowest = min(0.0, *(float(way[1]) for _, way in seen))
    highest = max(0.0, *(float(way[1]) for _, way in seen))
    leftmost = min(0.0, *(float(way[0]) for _, way in seen))
    x, y = left - leftmost, top - GAP - highest - TEXT
    paths: list[Path] = []
    labels = []
    for name, way in seen:
        paths += arrow((x, y), (x + float(way[0]), y + float(way[1])))
        text = f"{name} {dict(zip('xyz', (called().rearward, called().to_right, 'up'), strict=True))[name]}"
        beside = TEXT if way[0] > -1e-6 else -TEXT * (1.0 + TEXT_WIDTH_RATIO * len(text))
        at = (x + float(way[0]) + beside, y + float(way[1]) - (0.0 if way[1] > 0.5 * _ARROW else TEXT / 2.0))
        labels.append(Label(text=text, at=at, height=TEXT))
    return paths, labels, y + lowest - TEXT


def _axis_names(axes: Array) -> tuple[str, str]:
    """Return what the coordinates of a view are called; empty words where it is not square to an axis."""
    right, up = (
        "".join(name for name, share in zip("xyz", way, strict=True) if share == 1.0) for way in axes.T
    )
    return (right, up) if right and up else ("", "")


def _edge_rows(face: MatingFace | BodyFace, unit: str) -> list[str]:
    """Return what is to be known of the lines of the edge."""
    if isinstance(face, MatingFace):
        across = ", ".join(
            f"{axis} = {format_length(float(a), unit)} to {format_length(float(b), unit)}"
            for axis, a, b in zip(face.axes, face.edge[0], face.edge[-1], strict=True)
        )
        long = float(np.linalg.norm(np.diff(face.edge, axis=0), axis=1).sum())
        return [f"{PLUG_EDGE}: the plug's edge, {across}; along it {format_length(long, unit)}"]
    rounds = [
        format_length(float(np.linalg.norm(loop - np.roll(loop, 1, axis=0), axis=1).sum()), unit)
        for loop in face.loops
    ]
    shown = ", ".join(rounds[:4]) + (" ..." if len(rounds) > 4 else "")
    rows = [f"{PLUG_EDGE}: the plug's edge; true length round it {shown}"]
    if face.flange_loops:
        rows.append(f"{FLANGE_LINE}: {_flange_words(face, face.cut.item.flange_width, unit)}")
    return rows


def _flange_words(face: MatingFace | BodyFace, width: float, unit: str) -> str:
    """Return what is to be known of the flange."""
    return (
        f"inner line of the strip of {format_length(width, unit)} along the face, "
        f"{face.flange_area_mm2 / 1e6:.4f} m2"
    )


def _unrolled(face: MatingFace, left: float, top: float) -> tuple[list[Path], list[Label], float]:
    """Return the face unrolled under a height, with the inner line of its flange, and where it ends."""
    first, _, _, high = face.outline.bounds
    move = np.array([left - first, top - GAP - high])
    paths = [_closed(ring + move, UNROLLED_FACE) for _, ring in canonical_rings(face.outline)]
    if not face.flange.is_empty:
        inner = face.outline.difference(face.flange)
        rings = [ring for _, ring in canonical_rings(inner) if shapely.Polygon(ring).area > 1.0]
        paths += [_closed(ring + move, FLANGE_LINE) for ring in rings]
    return paths, [], min(path_bounds(path)[1] for path in paths) - GAP / 2.0


def _unrolled_rows(face: MatingFace, unit: str) -> list[str]:
    """Return what is to be known of the face unrolled."""
    rows = [
        f"{UNROLLED_FACE}: the face unrolled, along the contour to the right, {face.cut.axis} up, "
        f"{'seen from outside' if face.cut.is_seen_outside else 'seen from inside the plug'}; "
        f"{face.area_mm2 / 1e6:.4f} m2"
    ]
    if not face.flange.is_empty:
        rows.append(f"{FLANGE_LINE}: {_flange_words(face, face.cut.item.flange_width, unit)}")
    return rows
