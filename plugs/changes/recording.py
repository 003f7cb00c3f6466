"""The record of a work: all that is cut for it, its surface with the names of its places, its figures."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.changes.naming import places_of
from plugs.changes.record import Record, Spare, Workpiece
from plugs.changes.verdicts import WORKING
from plugs.drafting.flat import flat_points
from plugs.drafting.layer import layer_path
from plugs.files.names import wire_stems
from plugs.ground.doors import STAGES
from plugs.ground.errors import Finding
from plugs.mesh import mesh
from plugs.mesh.mesh import PLANES
from plugs.mesh.triangles import areas
from plugs.sanding.radius_blocks import RadiusBlock
from plugs.stages.worked import Worked
from plugs.subjects.block import block_end
from plugs.subjects.recess import rounded_path

Array = NDArray[np.float64]
Geometries = NDArray[np.object_]

LEAST_LAP: Final = 25.0
"""Cloth that has to lie over that of the next zone, mm: half of what is usually drawn (common practice, no
source)."""
_WALL: Final = 10.0
"""The wall round a hollow may be so much thinner, mm: nobody sands it (common practice, no source)."""
_FACE_SHARE: Final = 0.25  # of the way to the other face, in which an old one is looked for
_FRAME: Final = 0.5  # mm. An edge of a gauge so near its box is a side of its frame
_THINNED: Final = 0.02  # mm. A point of an outline so near a straight line is left out


def record_of(work: Worked, stages: Collection[str], findings: Sequence[Finding]) -> Record:
    """Return the record of a work.

    Parameters
    ----------
    work : Worked
    stages : collection of str
        That are worked out; of others the record says nothing.
    findings : sequence of Finding
        On these.

    Returns
    -------
    Record
    """
    asked = [(kinds, say) for stage, kinds, say in _WORKPIECES if stage in stages]
    vertices, triangles = mesh.triangles_of(work.body.body)
    nesting = work.sheets.nesting if "sheets" in stages else None
    return Record(
        recipe=work.plug.name if work.recipe is None else work.recipe.name,
        title=work.plug.name,
        unit=work.plug.display_unit,
        sides=work.plug.sides,
        parameters={name: plain(value) for name, value in work.parameters.items()},
        figures=_figures(work, stages),
        findings=tuple(
            {"code": f.code, "stage": f.stage, "where": f.where, "message": f.message, "remedy": f.remedy}
            for f in findings
        ),
        allowance=work.plug.stack.allowance,
        kerf=work.plug.cutting.kerf,
        stages=tuple(stage for stage in STAGES if stage in stages),
        kinds=tuple(kind for kinds, _ in asked for kind in kinds),
        workpieces=tuple(one for _, say in asked for one in say(work)),
        spares=()
        if nesting is None
        else tuple(
            Spare(sheet=str(s.number), thickness=s.stock.thickness, width=left.width, height=left.height)
            for s in nesting.sheets
            for left in s.leftovers
        ),
        vertices=vertices,
        triangles=triangles,
        places=places_of(work.body),
    )


def plain(value: object) -> object:
    """Return a parameter as JSON can hold it.

    Parameters
    ----------
    value : object

    Returns
    -------
    object
    """
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return value if value is None or isinstance(value, bool | int | float | str) else str(value)


def _figures(work: Worked, stages: Collection[str]) -> dict[str, Any]:
    """Return the figures that are compared, by their keys, with the unit in each."""
    whole = work.body.by_mesh
    long, wide, high = (float(v) for v in whole.upper - whole.lower)
    found: dict[str, Any] = {
        "length_mm": long,
        "breadth_mm": wide,
        "height_mm": high,
        "volume_m3": 1e-9 * whole.volume_mm3,
        "area_m2": 1e-6 * whole.area_mm2,
    }
    if "cloth" in stages and work.trims:
        found["flanges_m2"] = 1e-6 * sum(trim.area_mm2 for trim in work.trims)
        found["trim_lines_mm"] = sum(trim.length for trim in work.trims)
    if "pieces" in stages:
        weights = [piece.weight_kg for piece in work.pieces.pieces]
        if None not in weights:
            found["foam_kg"] = float(sum(weight for weight in weights if weight is not None))
    if "sheets" in stages and work.sheets.nesting is not None:
        found["sheets"] = len(work.sheets.nesting.sheets)
    if "part" in stages and work.part is not None:
        found["part_kg"] = work.part.mass_kg
    if "mould" in stages and work.making is not None and work.making.mass_kg is not None:
        found["mould_kg"] = work.making.mass_kg
    if "shopping" in stages and work.shopping is not None and work.shopping.total > 0.0:
        found["price"] = work.shopping.total
        found["currency"] = work.shopping.currency
    return found


# ---- what is cut


def _foam(work: Worked) -> list[Workpiece]:
    """Return the pieces of foam; a layer that is cut whole goes by its own name."""
    layers = {layer.name: layer for layer in work.layers}
    voids = {void.layer: void.outline for void in work.pieces.voids}
    drilled = {blank.name: blank.drilled for blank in work.blanks}
    by_wire = {cut.piece for cut in work.wire_cuts}
    pieces = [piece for piece in work.pieces.pieces if piece.name not in by_wire]
    of = [layers[piece.layer] for piece in pieces]
    cut = _all_thinned([piece.rough for piece in pieces])
    covered = _all_thinned([layer.envelope for layer in of])
    nothing = shapely.MultiPolygon()
    walls = shapely.buffer([voids.get(layer.name, nothing) for layer in of], _WALL)
    must = _all_thinned(shapely.difference(shapely.intersection(covered, cut), walls))
    lower, upper = (_all_thinned([getattr(piece, face) for piece in pieces]) for face in ("lower", "upper"))
    return [
        Workpiece(
            kind="piece" if piece.place else "layer",
            name=piece.name,
            file=layer_path(layer.name),
            axis=piece.axis,
            from_mm=piece.from_mm,
            to_mm=piece.to_mm,
            sheet_mm=piece.thickness,
            spots=_spot(piece.axis, 0.5 * (piece.from_mm + piece.to_mm), piece.rough),
            alike=(),
            cut=cut[k],
            must=must[k],
            drawn=(lower[k], upper[k]),
            holes=tuple(
                (*hole.at, hole.diameter, float(hole.face == "upper")) for hole in drilled[piece.name]
            ),
        )
        for k, (piece, layer) in enumerate(zip(pieces, of, strict=True))
    ]


def _wire_faces(work: Worked) -> list[Workpiece]:
    """Return the two faces of all that a wire cuts: straight lines run from the one to the other."""
    found = []
    for cut, stem in zip(work.wire_cuts, wire_stems([cut.name for cut in work.wire_cuts]), strict=True):
        if cut.axis not in PLANES:
            continue  # the block out of a recess, which its pattern tells of
        reach = _FACE_SHARE * (cut.to_mm - cut.from_mm)
        for side, at in (("near", cut.from_mm), ("far", cut.to_mm)):
            rings = ([getattr(ring, side) for ring in rings] for rings in (cut.rings, cut.tight))
            whole, tight = (_thinned(shapely.Polygon(outer, holes)) for outer, *holes in rings)
            found.append(
                Workpiece(
                    kind="wire face",
                    name=f"{cut.name} {side}",
                    file=stem,
                    axis=cut.axis,
                    from_mm=at - reach,
                    to_mm=at + reach,
                    sheet_mm=cut.to_mm - cut.from_mm,
                    spots=_spot(cut.axis, at, whole),
                    alike=(side,),
                    cut=whole,
                    must=tight,
                )
            )
    return found


def _templates(work: Worked) -> list[Workpiece]:
    """Return templates and gauges, and templates of forms."""
    return [
        *_form_templates(work),
        *_opening_templates(work),
        *(
            _loose("template", one.name, one.path, one.place[None], one.region, alike=("flange",))
            for one in work.flanges
        ),
    ] + [
        Workpiece(
            kind="gauge" if one.is_gauge else "template",
            name=one.name,
            file=f"templates/{one.stem}",
            axis=one.axis,
            from_mm=one.from_mm,
            to_mm=one.to_mm,
            sheet_mm=one.to_mm - one.from_mm,
            spots=_spot(one.axis, one.at_mm, one.outline)
            if one.plane is None
            else one.placed(shapely.get_coordinates(one.outline.centroid)),
            alike=(one.line, one.part),
            cut=_thinned(one.outline),
            must=_working_edge(one.outline) if one.is_gauge else _thinned(one.outline),
            drawn=(_thinned(one.region),),
        )
        for one in work.templates
    ]


def _working_edge(outline: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Return the part of a gauge along the edge that is offered up: that which is no side of its frame."""
    frame = shapely.box(*outline.bounds).exterior
    edge = shapely.difference(outline.boundary, shapely.buffer(frame, _FRAME))
    return _thinned(shapely.intersection(outline, shapely.buffer(edge, WORKING)))


def _blocks(work: Worked) -> list[Workpiece]:
    """Return the radius blocks."""
    return [
        _loose(
            "radius block",
            block.name,
            f"templates/radius-block-{block.number:02d}",
            np.array([place.point for place in block.places]).reshape(-1, 3),
            _end_of(block, work.sanding.words.grip),
            held=0.5 * work.sanding.words.grip,
            alike=("inside" if block.is_inside else "outside",),
        )
        for block in work.sanding.blocks
    ]


def _end_of(block: RadiusBlock, grip: float) -> shapely.Polygon:
    """Return the end of a radius block, the edge that it is laid over at the origin."""
    to_edge = block.radius / np.cos(0.5 * np.radians(block.turn_deg)) * (-1.0 if block.is_inside else 1.0)
    return shapely.Polygon(flat_points(block_end(block, grip)) - (0.0, to_edge))


def _patterns(work: Worked) -> list[Workpiece]:
    """Return the patterns of recesses."""
    return [
        _loose(
            "pocket pattern",
            kit.name,
            f"templates/pocket-{number:02d}",
            kit.frame[None, :, 3],
            shapely.Polygon(flat_points(rounded_path(kit.mouth, ""))),
            alike=(kit.method,),
        )
        for number, kit in enumerate(work.kits, start=1)
    ]


def _hard_points(work: Worked) -> list[Workpiece]:
    """Return the pieces of hard points."""
    return [
        _loose(
            "hard point",
            one.name,
            f"templates/hard-point-{number:02d}",
            one.frame[None, :, 3],
            shapely.Polygon(
                flat_points(rounded_path(one.face, "")),
                [
                    shapely.Point(along, up).buffer(0.5 * across).exterior.coords
                    for along, up, across in one.item.holes
                ],
            ),
            alike=(one.material.name, f"{one.thickness:g} mm thick", f"bevel {one.item.bevel:g}"),
        )
        for number, one in enumerate(work.hard_points, start=1)
    ]


def _form_templates(work: Worked) -> list[Workpiece]:
    """Return the templates of forms."""
    from plugs.drawings import file_stems_of_forms

    return [
        _loose("template", one.name, stem, one.place[None], one.outline, alike=(one.kind,))
        for one, stem in zip(work.form_templates, file_stems_of_forms(work), strict=True)
    ]


def _opening_templates(work: Worked) -> list[Workpiece]:
    """Return the templates of openings."""
    return [
        _loose(
            "template",
            f"opening {one.scribed.scribe.name}",
            f"templates/opening-{number:02d}",
            one.scribed.scribe.frame[None, :, 3],
            one.outline,
            alike=("opening",),
        )
        for number, one in enumerate(work.opening_templates, start=1)
    ]


def _cloth(work: Worked) -> list[Workpiece]:
    """Return the pieces of cloth."""
    if work.cloth is None:
        return []
    from plugs.drawings import cloth_stems

    patches = {patch.name: patch for patch in work.cloth.surface.patches}
    middles = {name: _middle(patch.vertices.take(patch.triangles, axis=0)) for name, patch in patches.items()}
    stems = cloth_stems(work)
    patterns = [
        (one.pattern, stems.pieces.get(one.pattern.name, stem))
        for roll, stem in zip(work.cloth.rolls, stems.rolls, strict=True)
        for one in roll.laid
    ]
    return [
        _loose(
            "cloth",
            pattern.name,
            f"cloth/{stem}",
            middles[pattern.patch][None],
            pattern.outline,
            alike=(pattern.cloth, f"ply {pattern.ply}", f"{pattern.bias_deg:g} degrees"),
            must=shapely.intersection(pattern.outline, shapely.buffer(pattern.zone_outline, LEAST_LAP)),
        )
        for pattern, stem in patterns
    ]


_WORKPIECES: Final[tuple[tuple[str, tuple[str, ...], Callable[[Worked], list[Workpiece]]], ...]] = (
    ("pins", ("layer", "piece"), _foam),
    ("wire", ("wire face",), _wire_faces),
    ("templates", ("template", "gauge"), _templates),
    ("sanding", ("radius block",), _blocks),
    ("layers", ("pocket pattern",), _patterns),
    ("layers", ("hard point",), _hard_points),
    ("cloth", ("cloth",), _cloth),
)
"""Workpieces by the stage that shows them: which kinds, and what gives them."""


def _loose(
    kind: str,
    name: str,
    file: str,
    spots: Array,
    outline: shapely.Polygon,
    *,
    alike: tuple[str, ...],
    must: shapely.Geometry | None = None,
    held: float = 0.0,
) -> Workpiece:
    """Return a workpiece that lies in no plane of the plug."""
    cut = _thinned(outline)
    if held > 0.0:  # as much of its height may be missing: it is only held there
        left, low, right, high = cut.bounds
        must = shapely.intersection(cut, shapely.box(left, low, right, high - held))
    return Workpiece(
        kind=kind,
        name=name,
        file=file,
        axis="",
        from_mm=0.0,
        to_mm=0.0,
        sheet_mm=0.0,
        spots=spots,
        alike=alike,
        cut=cut,
        must=cut if must is None else _thinned(must),
    )


def _thinned(region: shapely.Geometry) -> shapely.MultiPolygon:
    """Return a region without the points that lie on a straight line but for a hair."""
    return _all_thinned([region])[0]


def _all_thinned(regions: Sequence[shapely.Geometry] | Geometries) -> Geometries:
    """Return regions without the points that lie on a straight line but for a hair."""
    thin = shapely.simplify(regions, _THINNED, preserve_topology=False)
    parts, of = shapely.get_parts(np.where(shapely.is_valid(thin), thin, regions), return_index=True)
    is_one = (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(parts)
    found = np.full(len(regions), shapely.MultiPolygon())
    return np.asarray(shapely.multipolygons(parts[is_one], indices=of[is_one], out=found))


def _spot(axis: str, along: float, region: shapely.Geometry) -> Array:
    """Return the middle of a region of a plane, in space."""
    place = dict(zip(PLANES[axis], shapely.get_coordinates(region.centroid)[0].tolist(), strict=True))
    return np.array([[(place | {axis: along})[one] for one in "xyz"]])


def _middle(corners: Array) -> Array:
    """Return the middle of a surface of triangles."""
    return np.asarray(np.average(corners.mean(axis=1), axis=0, weights=areas(corners)))
