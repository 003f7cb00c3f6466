"""The pieces of a plug: islands of its layers, parted where they outgrow the sheets, with name and weight."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from plugs.foam.joint_lines import JointLine, told_apart
from plugs.foam.joints import Joints, LayerPart, Rule, Size, fits, ground_of, parted, polygons
from plugs.foam.layers import Layer, reaches
from plugs.foam.piece_labels import piece_labels
from plugs.foam.stock import THICKNESS, Blank, Cutting, Stock, belongs
from plugs.foam.volumes import slab_volumes, surface, volume_over
from plugs.ground.errors import Finding, promise
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.bands import Levelled, levelled
from plugs.mesh.mesh import Body

_BEYOND = 1.0  # mm. Boxes stand clear of what they hold
_BORDER = 0.01  # mm. Half the width of a strip along a joint that finds the pieces beside it
_TRIALS = 5  # of parting a layer otherwise before its fault is told
_LOST_MM2 = 1e-2
"""Slivers of outlines that the mesh engine leaves out."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A piece of foam: a layer's island, or a part of one between joints.

    Attributes
    ----------
    name : str
        Layer and place, "L03 front left"; the layer's name alone where it is whole.
    place : str
        The place alone; empty where the layer is whole.
    layer : str
    index : int
        Of the layer, from 1.
    axis : str
        Of the stack.
    from_mm, to_mm : float
        Where the plug's part of the layer begins and ends along the axis.
    thickness : float, mm
        Of the sheet.
    rough : shapely.Polygon, mm
        The line to cut: with sanding allowance all round, but on the joints themselves.
    lower, upper : shapely.MultiPolygon, mm
        Final outlines on the two faces.
    volume_mm3 : float
        Of the plug's part of it.
    weight_kg : float or None
        Of that, if the foam's density is known.
    """

    name: str
    place: str
    layer: str
    index: int
    axis: str
    from_mm: float
    to_mm: float
    thickness: float
    rough: shapely.Polygon
    lower: shapely.MultiPolygon
    upper: shapely.MultiPolygon
    volume_mm3: float
    weight_kg: float | None

    @property
    def area_mm2(self) -> float:
        """Area inside the line to cut, mm2."""
        return float(self.rough.area)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Joint:
    """A joint between pieces of one layer.

    Attributes
    ----------
    name : str
        "L03 joint 1".
    layer : str
    square_to : str
        The plug's axis that it lies square to.
    at : float, mm
        Where along that axis; the middle of the step of a stepped one.
    line : shapely.MultiLineString, mm
        In the layer's plane.
    between : tuple of str
        Names of the pieces that it joins.
    apart : float or None, mm
        Distance, seen along the stack, from the nearest joint square to the same axis in its own layer or
        either of those beside it; None when there is none.
    axis : str
        Of the stack.
    middle : float, mm
        Of the plug's part of the layer, along that axis.
    thickness : float, mm
        Of the sheet: how high the face is that takes glue.
    """

    name: str
    layer: str
    square_to: str
    at: float
    line: shapely.MultiLineString
    between: tuple[str, ...]
    apart: float | None
    axis: str
    middle: float
    thickness: float

    def glued_mm2(self, margin: float) -> float:
        """Return the area of one of the faces that takes glue, mm2.

        Parameters
        ----------
        margin : float, mm
            As in `plugs.foam.glue.Glue`: the ends of the joint lie in the final surface.

        Returns
        -------
        float, mm2
        """
        runs = shapely.get_parts(shapely.line_merge(self.line))
        return self.thickness * sum(max(0.0, float(run.length) - 2.0 * margin) for run in runs)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """All pieces of a plug and the joints between them.

    Attributes
    ----------
    pieces : tuple of Piece
        In the order of stacking, from front to rear and left to right within a layer.
    joints : tuple of Joint
    """

    pieces: tuple[Piece, ...]
    joints: tuple[Joint, ...]


def usable_sizes(
    stock: Sequence[Stock], cutting: Cutting, layers: Sequence[Layer]
) -> tuple[tuple[Size, ...], ...]:
    """Return, for each layer, the sizes that a piece of it must fit one of.

    Whole rectangular sheets of the layer's thickness count, less the margin, if there is one for every
    layer of that thickness; if there is no such kind, all rectangular ones do.

    Parameters
    ----------
    stock : sequence of Stock
        Empty when nothing is known of it.
    cutting : Cutting
    layers : sequence of Layer

    Returns
    -------
    tuple of tuple of (float, float), mm
        Width and height; empty where nothing is to be parted.
    """
    if not stock:
        return tuple(() for _ in layers)
    margin = cutting.edge_margin
    sheets = [s for s in stock if s.outline is None and s.count != 0]
    sheets = [s for s in sheets if min(s.width, s.height) > 2.0 * margin]
    counts, found = Counter(layer.thickness for layer in layers), dict[float, tuple[Size, ...]]()
    for thickness in counts:
        kinds = [s for s in sheets if belongs(s, thickness)]
        need = sum(count for other, count in counts.items() if abs(other - thickness) < THICKNESS)
        ample = [s for s in kinds if not s.is_offcut and (s.count is None or s.count >= need)]
        sizes = {(s.width - 2.0 * margin, s.height - 2.0 * margin) for s in ample or kinds}
        found[thickness] = tuple(sorted(sizes, reverse=True))
    return tuple(found[layer.thickness] for layer in layers)


def make_pieces(
    body: Body,
    layers: Sequence[Layer],
    joints: Joints,
    sizes: Sequence[Sequence[Size]],
    *,
    recesses: Sequence[shapely.Geometry] = (),
    turns: str = "quarter",
    density_kg_m3: float | None = None,
) -> tuple[Pieces, tuple[Finding, ...]]:
    """Return the pieces that the layers of a plug are cut in, and what is doubtful about them.

    Parameters
    ----------
    body : Body
        The foam.
    layers : sequence of Layer
        In the order of stacking.
    joints : Joints
    sizes : sequence of sequence of (float, float), mm
        For each layer, from `usable_sizes`.
    recesses : sequence of shapely geometry, mm
        For each layer what no joint shall meet, from `joints.recess_outlines`; may be left out.
    turns : str
        As for `Blank`: with "grain" a piece lies along the sheet or not at all.
    density_kg_m3 : float or None
        Of the foam.

    Returns
    -------
    tuple of Pieces and (tuple of Finding)
    """

    def parted_by(words: Joints) -> list[tuple[list[LayerPart], list[JointLine]]]:
        return _all_parts(layers, words, sizes, recesses, turns)

    found = parted_by(joints)
    drawn = [lines for _, lines in found]
    foam = _foam_of(body, layers) if any(len(parts) > 1 for parts, _ in found) else None
    pieces: list[Piece] = []
    for layer, (parts, _) in zip(layers, found, strict=True):
        pieces += _named(layer, parts, foam, density_kg_m3)
    joined: list[Joint] = []
    apart = told_apart(drawn)
    for layer, lines in zip(layers, apart, strict=True):
        beside = [piece for piece in pieces if piece.layer == layer.name] if lines else []
        joined += [_joint(layer, n, line, beside) for n, line in enumerate(lines, start=1)]
    kept = [line for lines in apart for line in lines]
    least = _stagger_that_does(kept, joints, lambda words: [lines for _, lines in parted_by(words)])
    findings = _findings(joined, kept, joints, least)
    return Pieces(pieces=tuple(pieces), joints=tuple(joined)), tuple(findings)


def outlines_of(pieces: Sequence[Piece], layer: Layer) -> tuple[shapely.Polygon, ...]:
    """Return the rough outlines of a layer's pieces.

    Parameters
    ----------
    pieces : sequence of Piece
    layer : Layer

    Returns
    -------
    tuple of shapely.Polygon, mm
    """
    return tuple(piece.rough for piece in pieces if piece.layer == layer.name)


def blank_of(piece: Piece, turns: str = "quarter") -> Blank:
    """Return a piece as it is cut from a sheet.

    Parameters
    ----------
    piece : Piece
    turns : str
        How it may be turned, as for `Blank`.

    Returns
    -------
    Blank
    """
    return Blank(
        name=piece.name,
        layer=piece.layer,
        outline=piece.rough,
        thickness=piece.thickness,
        turns=turns,
        lower=piece.lower,
        upper=piece.upper,
        axis=piece.axis,
        face_up="lower" if piece.axis == "y" else "upper",  # seen from the left
    )


def _all_parts(
    layers: Sequence[Layer],
    joints: Joints,
    sizes: Sequence[Sequence[Size]],
    recesses: Sequence[shapely.Geometry],
    turns: str,
) -> list[tuple[list[LayerPart], list[JointLine]]]:
    """Return the parts of each layer and the joints in it."""
    found: list[tuple[list[LayerPart], list[JointLine]]] = []
    for i, layer in enumerate(layers):
        rule = Rule(sizes=tuple(sizes[i]), may_turn=turns != "grain", joints=joints)
        before = found[-1][1] if found else []
        found.append(_parts(layer, rule, recesses[i] if len(recesses) else None, before))
    return found


def _stagger_that_does(
    lines: Sequence[JointLine], words: Joints, drawn_by: Callable[[Joints], list[list[JointLine]]]
) -> int | None:
    """Return a stagger that can be kept where the one asked for cannot, tried; None where none is found.

    Joints drawn for a smaller stagger lie elsewhere, nearer to the middle: what was kept before need not be.
    """
    for _ in range(_TRIALS):
        kept = [line.apart for line in lines if line.apart is not None]
        if not any("stagger" in line.faults for line in lines) or not kept:
            return None
        least = min(math.floor(min(kept) + 1e-6), math.ceil(words.stagger) - 1)
        if least <= 0:
            return None
        words = replace(words, stagger=float(least))
        drawn = drawn_by(words)
        lines = [line for own in told_apart(drawn) for line in own]
        if not any("stagger" in line.faults for line in lines):
            return least
    return None


def _parts(
    layer: Layer, rule: Rule, recesses: shapely.Geometry | None, before: Sequence[JointLine]
) -> tuple[list[LayerPart], list[JointLine]]:
    """Return the parts of a layer and the joints in it."""
    islands = polygons(layer.rough)
    if all(fits(island, rule) for island in islands):
        return [LayerPart(outline=p, cell=c) for p, c in zip(islands, _cells(islands), strict=True)], []
    ground = ground_of(layer, recesses, rule.joints, before)
    parts: list[LayerPart] = []
    lines: list[JointLine] = []
    for island, cell in zip(islands, _cells(islands), strict=True):
        more, found = parted(LayerPart(outline=island, cell=cell), rule, ground, layer.index)
        parts += more
        lines += found
    return parts, lines


def _cells(islands: Sequence[shapely.Polygon]) -> list[shapely.Polygon | None]:
    """Return a box round each island, None where another island lies in it too."""
    boxes = [shapely.box(*(np.array(p.bounds) + _BEYOND * np.array([-1, -1, 1, 1]))) for p in islands]
    return [box if sum(shapely.intersects(box, islands)) == 1 else None for box in boxes]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Foam:
    """The body, turned with the stack up, and the planes between which the foam of each layer lies."""

    body: Body
    levelled: Levelled
    reaches: Mapping[str, tuple[float, float]]


def _foam_of(body: Body, layers: Sequence[Layer]) -> _Foam:
    """Return a body as its layers part it."""
    turned = mesh.stacked(body, layers[0].axis)
    ready = levelled(turned)
    rising = sorted(layers, key=lambda layer: layer.from_mm)
    planes = reaches(rising, float(ready.low.min()), float(ready.high.max()))
    named = {layer.name: reach for layer, reach in zip(rising, planes, strict=True)}
    return _Foam(body=Body(turned.up), levelled=ready, reaches=named)


def _named(
    layer: Layer, parts: Sequence[LayerPart], foam: _Foam | None, density: float | None
) -> list[Piece]:
    """Return the parts of a layer as pieces, in the order of their places."""
    volumes = _volumes(layer, parts, foam)
    order = piece_labels([part.outline.bounds for part in parts], mesh.PLANES[layer.axis])
    is_whole = len(parts) == 1
    return [
        Piece(
            name=f"{layer.name} {place}".strip(),
            place=place,
            layer=layer.name,
            index=layer.index,
            axis=layer.axis,
            from_mm=layer.from_mm,
            to_mm=layer.to_mm,
            thickness=layer.thickness,
            rough=parts[i].outline,
            lower=layer.lower if is_whole else _within(layer.lower, parts[i]),
            upper=layer.upper if is_whole else _within(layer.upper, parts[i]),
            volume_mm3=volumes[i],
            weight_kg=None if density is None else 1e-9 * density * volumes[i],
        )
        for i, place in order
    ]


def _within(final: shapely.MultiPolygon, part: LayerPart) -> shapely.MultiPolygon:
    """Return what of a final outline lies in a part."""
    return shapely.MultiPolygon(polygons(shapely.intersection(final, part.cell or part.outline)))


def _volumes(layer: Layer, parts: Sequence[LayerPart], foam: _Foam | None) -> list[float]:
    """Return the volume of the plug in each part of a layer, mm3; together they are the layer's."""
    if len(parts) == 1 or foam is None:
        return [layer.volume_mm3]
    low, high = foam.reaches[layer.name]
    foot = low if math.isfinite(low) else layer.from_mm - _BEYOND
    columns = slab_volumes(surface(foam.levelled, low, high), foot)
    volumes = []
    for part in parts:
        if part.cell is None:
            top = high if math.isfinite(high) else layer.to_mm + _BEYOND
            prism = mesh.prism(shapely.MultiPolygon([part.outline]), foot, top)
            volumes.append(mesh.volume_of(mesh.common(foam.body, prism)))
        else:
            volumes.append(volume_over(columns, part.cell))
    allowed = 1e-7 * layer.volume_mm3 + _LOST_MM2 * (layer.to_mm - layer.from_mm)
    gap = abs(sum(volumes) - layer.volume_mm3)
    promise(gap <= allowed, f"the pieces of {layer.name} do not add up to it by {gap:.6g} mm3")
    return volumes


def _joint(layer: Layer, number_in_layer: int, line: JointLine, pieces: Sequence[Piece]) -> Joint:
    """Return a joint with its name and those of the pieces that it joins."""
    strip = shapely.buffer(line.line, _BORDER, cap_style="flat")
    lengths = [shapely.length(shapely.intersection(piece.rough.exterior, strip)) for piece in pieces]
    return Joint(
        name=f"{layer.name} joint {number_in_layer}",
        layer=layer.name,
        square_to=mesh.PLANES[layer.axis][line.axis],
        at=line.at,
        line=line.line,
        between=tuple(
            piece.name for piece, length in zip(pieces, lengths, strict=True) if length > 10.0 * _BORDER
        ),
        apart=line.apart,
        axis=layer.axis,
        middle=0.5 * (layer.from_mm + layer.to_mm),
        thickness=layer.thickness,
    )


def _findings(
    joints: Sequence[Joint], lines: Sequence[JointLine], words: Joints, least: int | None
) -> list[Finding]:
    """Return what could not be kept of the distances that the recipe asks for; the stagger that can be."""
    found = []
    smaller = "a smaller stagger" if least is None else f"a stagger of {as_length(least, 'd', 'most')}"
    for joint, line in zip(joints, lines, strict=True):
        where = f"{joint.name}, at {joint.square_to} = {as_length(joint.at, '.0f')}"
        if "stagger" in line.faults and line.apart is not None:
            found.append(
                Finding(
                    code="joint-stagger",
                    severity="mind",
                    where=where,
                    message=f"it lies {as_length(line.apart, '.0f')} from the next joint, not "
                    f"{as_length(words.stagger, 'g')}",
                    remedy=f"use longer sheets, or {smaller}",
                )
            )
        if "recess" in line.faults:
            found.append(
                Finding(
                    code="joint-at-recess",
                    severity="mind",
                    where=where,
                    message=f"{as_length(line.on_walls, '.0f')} of it runs within "
                    f"{as_length(words.keep_away, 'g')} of a recess or boss",
                    remedy="move the recess, or use longer sheets or a smaller joints.keep_away",
                )
            )
        if "blend" in line.faults:
            found.append(
                Finding(
                    code="joint-under-blend",
                    severity="mind",
                    where=where,
                    message=f"{as_length(line.under_blend, '.0f')} of it runs under a blend or a slope of "
                    "the surface",
                    remedy="use longer sheets, or a smaller joints.stagger",
                )
            )
    return found
