"""Each triangle of a plug's surface by the place it lies at: panel, end, recess, mating face.

A blend along the plug belongs half to each of its panels, and the blend of an end half to the end: the
triangles are cut along its middle. Panels that a mirrored plug has twice are told apart by their side.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import MadeOf, remade
from plugs.cloth.seamed import seamed
from plugs.drape.splitting import finer_inside, split_at_zero, split_edges
from plugs.drape.turning import well_shaped
from plugs.ground.grouping import apart
from plugs.ground.records import record
from plugs.lines.stations import Loft
from plugs.mesh.faces import numbered, with_fewer_faces
from plugs.mesh.mesh import numbered_triangles_of, placed
from plugs.mesh.nearest import arcs_to_lines
from plugs.mesh.sampling import sample
from plugs.mesh.triangles import areas, edges_of, facing, in_use
from plugs.recesses.recess import Tool

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]

ENDS: Final = ("front", "rear")
FLANGE: Final = "flange"

_ON_SEAM: Final = 1e-4  # mm. A vertex so near a seam is moved on it: no slivers
_CLOSER: Final = 3  # rounds of looking closer at the nearest place

_OF_CHORDS: Final = 1.0 / 3.0
"""Share of what a coarse surface may lie off that its chords take; leaving out triangles takes the rest."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceRegions:
    """The surface of a plug, every triangle with the place it lies at.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Facing outward.
    label : (m,) int
        Number of each triangle's place.
    names : tuple of str
        "deck", "right side", "left side", "rear", "number plate floor", "number plate wall", a mating
        face's name, and that with "flange".
    owners : tuple of str
        What each place is part of, in the recipe's words: a panel, an end, a recess, a mating face.
    """

    vertices: Array
    triangles: Indices
    label: Indices
    names: tuple[str, ...]
    owners: tuple[str, ...]

    def areas_mm2(self) -> Mapping[str, float]:
        """Return the area of each place.

        Returns
        -------
        mapping of str to float, mm2
        """
        area = areas(self.vertices.take(self.triangles, axis=0))
        total = np.bincount(self.label, weights=area, minlength=len(self.names))
        return dict(zip(self.names, total.tolist(), strict=True))


class PlaceNames:
    """Names of places in the order in which they are found."""

    def __init__(self) -> None:
        """Begin with none."""
        self.numbers: dict[str, int] = {}
        self.owners: list[str] = []

    def number(self, name: str, owner: str) -> int:
        """Return the number of a place, a new one for a new name.

        Parameters
        ----------
        name, owner : str
            As for `SurfaceRegions`.

        Returns
        -------
        int
        """
        if name not in self.numbers:
            self.numbers[name] = len(self.owners)
            self.owners.append(owner)
        return self.numbers[name]


def surface_regions(solid: MadeOf, *, coarse: float = 0.0) -> SurfaceRegions:
    """Return the surface of a plug with the place of every triangle.

    Parameters
    ----------
    coarse : float, mm
        How far the surface may move for the sake of fewer triangles; 0 keeps every one. Seams stay edges.
    """
    names = PlaceNames()
    of_others = {cut.param: names.number(cut.item.name, cut.item.name) for cut in solid.mating}
    of_others |= {shape.param: names.number(shape.param, shape.param) for shape in solid.shapes}
    bodies = {cut.param: cut.body for cut in solid.mating}
    bodies |= {shape.param: shape.body for shape in solid.shapes}
    parts = {param: numbered(body, of_others[param]) for param, body in bodies.items()}
    chords = max(solid.tolerance, _OF_CHORDS * coarse)
    plain = seamed(solid.loft, sample(solid.loft, chords), own_places(names, solid.loft))
    for tool, numbers in tool_places(names, solid.tools):
        parts[tool.param] = placed(seamed(tool.loft, sample(tool.loft, chords), numbers), tool.frame)
    body = remade(solid, plain, parts)
    if coarse > 0.0:
        body = with_fewer_faces(body, (1.0 - _OF_CHORDS) * coarse)
    vertices, triangles, label = numbered_triangles_of(body)
    return SurfaceRegions(
        vertices=vertices, triangles=triangles, label=label,
        names=tuple(names.numbers), owners=tuple(names.owners),
    )  # fmt: skip


def own_places(names: PlaceNames, loft: Loft, of: str = "") -> Indices:
    """Return the numbers of the places that the panels and the ends of a section solid are.

    Parameters
    ----------
    names : PlaceNames
    loft : Loft
    of : str
        What stands before the ends of a form.

    Returns
    -------
    (n + 2,) int
        Of its panels all round, of its front and of its rear.
    """
    table = loft.table
    owners = [*zip(table.ring_parents, table.panel_sides, strict=True), *((of + end, "") for end in ENDS)]
    return np.array([names.number(f"{side} {owner}".lstrip(), owner) for owner, side in owners])


def tool_places(names: PlaceNames, tools: Sequence[Tool]) -> list[tuple[Tool, Indices]]:
    """Return tools with the numbers of the places that their panels and ends are.

    Parameters
    ----------
    names : PlaceNames
    tools : sequence of Tool

    Returns
    -------
    list of tuple of Tool and (n + 2,) int
    """
    found = []
    for tool, name in zip(tools, apart([tool.name for tool in tools]), strict=True):
        if tool.cover is not None:
            numbers = own_places(names, tool.loft, f"{tool.name} ")
        else:
            wall = names.number(f"{name} wall", name)
            end = "wall" if tool.is_through else "floor" if tool.kind == "cut" else "top"
            numbers = np.full(len(tool.loft.table.panel_names) + 2, wall)
            numbers[-1] = names.number(f"{name} {end}", name)
        found.append((tool, numbers))
    return found


def with_flanges(
    places: SurfaceRegions, widths: Mapping[str, float], bare: Sequence[str] = ()
) -> SurfaceRegions:
    """Return places in which a strip along the edge of mating faces is a place of its own.

    Parameters
    ----------
    widths : mapping of str to float, mm
        Width of the strip, by the mating face's name.
    bare : sequence of str
        Owners over which nothing is laid: along them there is no flange.

    Returns
    -------
    SurfaceRegions
        The strip of "joint" is called "joint flange".
    """
    for name, width in widths.items():
        if width > 0.0 and name in places.names:
            places = _flanged(places, name, width, bare)
    return places


def _flanged(places: SurfaceRegions, name: str, width: float, bare: Sequence[str]) -> SurfaceRegions:
    """Return places with the flange of one mating face."""
    is_face = places.label == places.names.index(name)
    is_bare = np.array([owner in bare for owner in places.owners])
    edges, number = edges_of(places.triangles)
    on_face, on_clothed = np.zeros(len(edges), dtype=bool), np.zeros(len(edges), dtype=bool)
    on_face[number[is_face]] = True
    on_clothed[number[~is_face & ~is_bare[places.label]]] = True
    rim = places.vertices[edges[on_face & on_clothed]]
    own = f"{name} {FLANGE}"
    places = replace(places, names=(*places.names, own), owners=(*places.owners, own))
    return parted_within(places, is_face, rim, (width, 0.0), len(places.names) - 1)


def parted_within(
    places: SurfaceRegions, is_face: Flags, lines: Array, reach: tuple[float, float], number: int
) -> SurfaceRegions:
    """Return places in which what of a face lies within a width of some lines belongs to another place.

    Parameters
    ----------
    places : SurfaceRegions
    is_face : (m,) bool
        The triangles of the face.
    lines : (k, 2, 3) float, mm
        Straight pieces, over the face by what is laid on it.
    reach : tuple of two float, mm
        The width, measured along the face, and what is laid on it.
    number : int
        Of the place that it then belongs to.

    Returns
    -------
    SurfaceRegions
    """
    width = reach[0]
    used, triangle = in_use(places.triangles[is_face])
    points, own = finer_inside(places.vertices[used], triangle, 2.0 * width)
    far = np.empty(0)
    for _ in range(_CLOSER):
        far = _far_from(lines, points, own, reach, far)
        edges, side = edges_of(own)
        length = np.linalg.norm(points.take(edges[:, 0], axis=0) - points.take(edges[:, 1], axis=0), axis=1)
        # no place of an edge is nearer to the rim, or farther, than half of its length beyond its ends' mean
        is_near = (np.abs(far[edges].mean(axis=1) - width) < 0.5 * length) & (length > 0.2 * width)
        is_near &= np.bincount(side.ravel(), minlength=len(edges)) == 2
        split = split_edges(points, own, np.where(is_near, 0.5, np.nan), np.zeros(own.shape))
        points, own = split.vertices, split.triangles
    far = _far_from(lines, points, own, reach, far)
    ids = np.concatenate([used, len(places.vertices) + np.arange(len(points) - len(used))])
    fields = np.full((len(places.triangles) - int(is_face.sum()), 3), np.nan)
    split = split_at_zero(
        np.concatenate([places.vertices, points[len(used) :]]),
        np.concatenate([places.triangles[~is_face], ids[own]]),
        np.concatenate([fields, (width - far)[own]]),
        nearest=_ON_SEAM,
    )
    own_label = places.label[is_face][:1]  # a face is all of one place
    label = np.concatenate([places.label[~is_face], np.repeat(own_label, len(own))])[split.parent]
    is_own = np.concatenate([np.zeros(len(fields), dtype=bool), np.ones(len(own), dtype=bool)])[split.parent]
    label[is_own & (np.nan_to_num(split.fields).sum(axis=1) > 0.0)] = number
    return replace(places, vertices=split.vertices, triangles=split.triangles, label=label)


def _far_from(
    rim: Array, vertices: Array, triangles: Indices, reach: tuple[float, float], known: Array
) -> Array:
    """Return how far along a face its vertices lie from lines over its rim, or two widths at most.

    That of the first vertices is known already.
    """
    width, depth = reach
    normals, rest = vertex_normals(vertices, triangles), slice(len(known), None)
    over = vertices[rest] + depth * normals[rest] if depth else vertices[rest]
    found = arcs_to_lines(over, normals[rest], rim, 2.0 * width)
    return np.concatenate([known, np.minimum(found, 2.0 * width)])


def vertex_normals(vertices: Array, triangles: Indices) -> Array:
    """Return the directions in which a face looks at its vertices, of unit length.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int

    Returns
    -------
    (n, 3) float, dimensionless
        The mean of the triangles there, by their areas.
    """
    normals = np.empty_like(vertices)
    for k, way in enumerate(np.repeat(facing(vertices.take(triangles, axis=0)), 3, axis=0).T):
        normals[:, k] = np.bincount(triangles.ravel(), way, len(vertices))
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return normals


def clothed(places: SurfaceRegions, names: Sequence[str]) -> SurfaceRegions:
    """Return some places alone, with fuller triangles, the same surface.

    Parameters
    ----------
    names : sequence of str
        Of the places to keep.
    """
    is_kept = np.isin(places.label, [places.names.index(name) for name in names])
    used, number = in_use(places.triangles[is_kept])
    vertices, label = places.vertices[used], places.label[is_kept]
    triangles = well_shaped(vertices, number, label)
    return SurfaceRegions(
        vertices=vertices, triangles=triangles, label=label, names=places.names, owners=places.owners
    )
