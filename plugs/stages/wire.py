"""The stage of cutting by wire: the pieces that the recipe asks for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from itertools import combinations, pairwise
from typing import Final

import numpy as np
import shapely

from plugs.body.body import Solid
from plugs.foam.hollow import Void
from plugs.foam.layers import Stack
from plugs.foam.stock import THICKNESS, region
from plugs.ground.errors import PlugError, present
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.nesting.nesting import Nesting, Sheet
from plugs.recipe.plug import Plug
from plugs.sanding.pocket_pattern import BY_WIRE, PocketPattern, block_below
from plugs.stages.foam import Layering, Parted, StackTemplates, foam_as_glued
from plugs.wire.cuts import DEPTH, Between, Cut, make_cuts
from plugs.wire.journey import MARGIN, Box
from plugs.wire.lots import Lain, LeftOut, Lot, Lots
from plugs.wire.machine import Block, has_room
from plugs.wire.words import WireCutter, WireWork

_MUCH_MM: Final = 10.0
"""mm. A block that leaves more foam somewhere is better cut in smaller pieces."""
_PLANES: Final = np.linspace(0.0, 1.0, 5)
_BOOLE: Final = np.array([7.0, 32.0, 12.0, 32.0, 7.0]) / 90.0
"""Boole's rule over five sections (textbook): to tell foam in hundredths."""
_NO_FACE_MM2: Final = 1.0
"""mm2. Of a section: a body that shows less at a face has none there."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Slabs:
    """The foam that is cut, with what is cut later left whole.

    Attributes
    ----------
    foam : Body
        Without templates that stand in it, and before recesses that are cut after gluing.
    standing : StackTemplates
    parted : Parted
    """

    foam: Body
    standing: StackTemplates
    parted: Parted


def foam_to_cut(body: Solid, standing: StackTemplates, layering: Layering, parted: Parted) -> Slabs:
    """Return the foam that is cut by wire: recesses that are sawn or routed later are not there yet.

    Parameters
    ----------
    body : Solid
    standing : StackTemplates
    layering : Layering
    parted : Parted

    Returns
    -------
    Slabs
    """
    return Slabs(foam=foam_as_glued(body, standing, layering), standing=standing, parted=parted)


def pieces_by_wire(plug: Plug, slabs: Slabs) -> tuple[Cut, ...]:
    """Return what a recipe cuts by wire.

    Parameters
    ----------
    plug : Plug
        With words on cutting by wire.
    slabs : Slabs

    Returns
    -------
    tuple of Cut

    Raises
    ------
    PlugError
        Nothing is left to cut.
    """
    words, allowance = present(plug.wire), plug.stack.allowance
    whole = _pieces(slabs) if words.cut in ("layers", "sheets") else _spans(plug, words, slabs)
    cuts: list[Cut] = []
    for name, body, between in whole:
        way = words.way(between.name, name)
        if way != "none":
            cuts += make_cuts(body, replace(between, how=way, allowance=allowance))
    if not cuts:
        raise PlugError(
            param="wire.how",
            value=words.how,
            reason="no piece is left to be cut by wire",
            remedy='leave 1 or more to it, or take wire=... out of the recipe: how="finish"',
        )
    deepest = max((left.depth_mm for cut in cuts for left in cut.left), default=0.0)
    if words.cut != "block" or deepest < _MUCH_MM:
        return tuple(cuts)
    smaller = _smaller(plug, slabs, sum(cut.foam.volume_mm3 for cut in cuts))
    return tuple(
        replace(cut, left=tuple(replace(one, remedy=f"{one.remedy}; {smaller}") for one in cut.left))
        for cut in cuts
    )


def _smaller(plug: Plug, slabs: Slabs, foam: float) -> str:
    """Return in what else than one block a plug may be cut, and how much of the block's foam that leaves."""
    bays, layers = _bay_faces(plug, slabs), slabs.parted.layers
    ways = [("bays", len(bays), _foam_left(slabs.foam, "x", bays))]
    if layers:
        left = _foam_left(slabs.foam, layers[0].axis, [(one.from_mm, one.to_mm) for one in layers])
        ways.append(("layers", len(layers), left))
    told = [f'in {count} {cut}, cut="{cut}", about {100.0 * left / foam:.0f} %' for cut, count, left in ways]
    return f"less is left of smaller pieces: {'; '.join(told)} of that foam"


def _foam_left(foam: Body, axis: str, faces: Sequence[tuple[float, float]]) -> float:
    """Return about how much foam straight lines leave between some faces, mm3, by the areas of sections.

    Sections are taken to be alike, so that roots of areas run straight along rulings: of the lines that lie
    on two of them and leave the body whole that with the least foam; upright where the body runs out.
    """
    turned, total = mesh.stacked(foam, axis), 0.0
    for begin, finish in faces:
        places = np.clip(begin + _PLANES * (finish - begin), begin + LENGTH, finish - LENGTH)
        areas = np.array([mesh.outline(turned, float(at), above=True).area for at in places])
        size = np.sqrt(areas)
        lines = [np.full(len(size), size.max())]
        if min(areas[0], areas[-1]) > _NO_FACE_MM2:
            for i, j in combinations(range(len(size)), 2):
                line = size[i] + (_PLANES - _PLANES[i]) * (size[j] - size[i]) / (_PLANES[j] - _PLANES[i])
                lines += [line] if (line >= size - LENGTH).all() else []
        total += (finish - begin) * min(float(_BOOLE @ (line**2 - areas)) for line in lines)
    return total


def _pieces(slabs: Slabs) -> Iterator[tuple[str, Body, Between]]:
    """Yield the pieces of the stack with the layer of each."""
    layers = {layer.name: layer for layer in slabs.parted.layers}
    if not layers:
        return
    axis = next(iter(layers.values())).axis
    turned = mesh.stacked(slabs.foam, axis)
    voids = {void.layer: void for void in slabs.parted.voids if not void.outline.is_empty}
    ends = _ends(slabs.foam, axis)
    cut = cache(partial(_slab, turned, ends))  # once for all pieces between the same faces
    for piece in slabs.parted.whole:
        slab = cut(piece.from_mm, piece.to_mm)
        prism = mesh.prism(shapely.MultiPolygon([piece.rough]), piece.from_mm - 1.0, piece.to_mm + 1.0)
        body = _hollow(mesh.common(slab, prism), voids.get(piece.layer))
        words = Between(name=piece.name, axis=axis, from_mm=piece.from_mm, to_mm=piece.to_mm, allowance=0.0)
        yield piece.layer, body, words


def _hollow(body: Body, void: Void | None) -> Body:
    """Return a piece without what is left out of its layer."""
    if void is None:
        return body
    return mesh.less(body, mesh.prism(void.outline, void.from_mm - 1.0, void.to_mm + 1.0))


def _spans(plug: Plug, words: WireWork, slabs: Slabs) -> Iterator[tuple[str, Body, Between]]:
    """Yield the bays of a plug, or all of it as one block."""
    axis = "x" if words.cut == "bays" else words.across
    ends = _ends(slabs.foam, axis)
    faces = [ends] if words.cut == "block" else _bay_faces(plug, slabs)
    turned = mesh.stacked(slabs.foam, axis)
    for number, (begin, finish) in enumerate(faces, start=1):
        name = "block" if words.cut == "block" else f"B{number:02d}"
        body = _slab(turned, ends, begin, finish)
        if not body.is_empty:
            yield name, body, Between(name=name, axis=axis, from_mm=begin, to_mm=finish, allowance=0.0)


def _bay_faces(plug: Plug, slabs: Slabs) -> list[tuple[float, float]]:
    """Return where the bays of a plug begin and end: between templates in the stack, or between stations."""
    if slabs.standing.bays:
        return [(bay.from_mm, bay.to_mm) for bay in slabs.standing.bays]
    low, high = _ends(slabs.foam, "x")
    inner = [station.x for station in plug.stations if low + LENGTH < station.x < high - LENGTH]
    return list(pairwise([low, *inner, high]))


def _ends(foam: Body, axis: str) -> tuple[float, float]:
    """Return where foam begins and ends along an axis."""
    along = mesh.triangles_of(foam)[0][:, "xyz".index(axis)]
    return float(along.min()), float(along.max())


def _slab(turned: mesh.Stacked, ends: tuple[float, float], begin: float, finish: float) -> Body:
    """Return the foam between two places of the axis along which it is turned up."""
    faces = [begin, finish]
    before, behind = ends[0] < begin - LENGTH, ends[1] > finish + LENGTH
    if before:
        faces.insert(0, ends[0])
    if behind:
        faces.append(ends[1])
    return [*mesh.slabs(turned, faces)][1 if before else 0]


def blocks_for_recesses(kits: Sequence[PocketPattern], words: WireWork, stack: Stack) -> tuple[Cut, ...]:
    """Return the blocks that fill, below their floors, the openings of recesses that are sawn out.

    Parameters
    ----------
    kits : sequence of PocketPattern
    words : WireWork
        ``how`` knows each block by its recess's name and "block".
    stack : Stack
        A block is as thick as its thinnest sheet.

    Returns
    -------
    tuple of Cut
    """
    cuts: list[Cut] = []
    for kit in kits:
        name = f"{kit.name} block"
        body = block_below(kit, min(stack.thicknesses)) if kit.block == BY_WIRE else None
        if body is not None:
            box = mesh.measure(body)
            between = Between(
                name=name,
                axis=DEPTH,
                from_mm=float(box.lower[2]),
                to_mm=float(box.upper[2]),
                allowance=stack.allowance,
                how=words.way(name, kit.name),
            )
            cuts += make_cuts(body, between)
    return tuple(cuts)


def with_blocks(kits: Sequence[PocketPattern], words: WireWork, stack: Stack) -> tuple[PocketPattern, ...]:
    """Return recesses with what closes the opening of those that are sawn out, told once.

    Parameters
    ----------
    kits : sequence of PocketPattern
    words : WireWork
    stack : Stack

    Returns
    -------
    tuple of PocketPattern
        A block that the wire cuts new takes the place of the one that the saw frees.
    """
    return tuple(
        replace(kit, block=BY_WIRE)
        if words.way(f"{kit.name} block", kit.name) != "none"
        and block_below(kit, min(stack.thicknesses)) is not None
        else kit
        for kit in kits
    )


def lots_on_sheets(cuts: Sequence[Cut], nesting: Nesting, machine: WireCutter) -> Lots:
    """Return the pieces of each nested sheet together; what must be planed before it is cut stands aside.

    Parameters
    ----------
    cuts : sequence of Cut
    nesting : Nesting
    machine : WireCutter

    Returns
    -------
    Lots
    """
    by_piece: dict[str, list[Cut]] = {}
    for cut in cuts:
        by_piece.setdefault(cut.piece, []).append(cut)
    lots, aside = [], []
    for sheet in nesting.sheets:
        lot, thin = _lot_on(sheet, by_piece, nesting.cutting.kerf, machine)
        lots += [lot] if lot is not None else []
        aside += thin
    return Lots(lots=tuple(lots), aside=tuple(aside))


def _lot_on(
    sheet: Sheet, cuts: Mapping[str, Sequence[Cut]], kerf: float, machine: WireCutter
) -> tuple[Lot | None, list[LeftOut]]:
    """Return what is cut of a sheet by one program, and its pieces that are planed before they are cut."""
    lain, kept, thin = [], [], []
    thickness = sheet.stock.thickness
    for place in sheet.placements:
        here = [
            Lain(
                cut=cut,
                turn_deg=place.turn_deg,
                at=(place.dx, place.dy),
                outline=place.outline,
                thickness=thickness if thickness - cut.width > THICKNESS else None,
            )
            for cut in cuts.get(place.piece.name, ())
        ]
        if here and all(one.is_whole for one in here):
            lain += here
            continue
        kept.append(place.outline)
        thin += [_planed(one.cut, thickness) for one in here]
    if not lain:
        return None, thin
    left, bottom, right, top = region(sheet.stock).bounds
    box: Box = left, bottom, right, top
    if not has_room(Block(box=box, axis=lain[0].cut.axis, width=lain[0].width), machine):
        used = shapely.union_all([one.outline for one in lain]).bounds
        box = left, bottom, min(right, used[2] + MARGIN), min(top, used[3] + MARGIN)
    lot = Lot(
        name=f"sheet {sheet.number:02d}",
        lain=tuple(lain),
        box=box,
        kept=shapely.union_all(kept),
        sheet=(right - left, top - bottom),
        kerf=kerf,
    )
    return lot, thin


def _planed(cut: Cut, thickness: float) -> LeftOut:
    """Return a piece so much thinner than its sheet, and so pointed, that it is planed first."""
    fills, whole = as_length(cut.width, ".1f"), as_length(thickness, "g", "size")
    return LeftOut(
        cut=cut,
        reason=f"the plug fills {fills} of its {whole} sheet, at whose far face its lines cross",
        remedy="plane its block to that first, or list a sheet as thick",
    )
