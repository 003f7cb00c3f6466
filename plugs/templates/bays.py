"""The foam between station templates: a stack along x of template, foam, template."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import field, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.bands_seen import Band, cut_in_bands, known_in
from plugs.foam.layers import Layer, Slab, make_slab_layers, reaches
from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.sampling import Faces
from plugs.mesh.shaded import Known, Shaded, known, shaded
from plugs.mesh.triangles import in_use
from plugs.mesh.vectors import extents
from plugs.templates.templates import Template
from plugs.templates.words import Span

_STEP = 0.01  # mm. Sheets are as thick as a hundredth can tell
_THINNEST = 5.0  # mm. As in `foam.layers`
_ROOM_RATIO = 2e-3  # of the foam's volume: more than fewer points can change
_BEYOND = 0.2  # mm. As far as a surface in a picture may lie from that of the body
_MOST_PICTURED = 100  # layers: of more, every second, third and so on is, for nobody tells them apart
_MOST_SHEETS = 2000  # of one plug: sheets so thin are a typing error


@record(frozen=True, slots=True, kw_only=True)
class FoamBay:
    """The foam between two templates, or between a template and the end of the plug.

    Attributes
    ----------
    from_mm, to_mm : float
        Along x.
    sheets : tuple of Slab
        The sheets that fill it, thickest first; what they are too thick by is planed off the last.
    """

    from_mm: float
    to_mm: float
    sheets: tuple[Slab, ...]


FacesLeft = tuple[NDArray[np.float64], NDArray[np.int64]]
"""Points, mm, and the triangles between them."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class FoamSeen:
    """The foam as it is looked at when it is glued.

    Attributes
    ----------
    surface : Known
    are_parts : bool
        Whether what lies of it in a layer is what lies there of the foam that is shown whole.
    """

    surface: Known
    are_parts: bool


@record(frozen=True, slots=True, kw_only=True, eq=False)
class LayerCut:
    """The closed surface of a layer as it lies in the plug.

    Attributes
    ----------
    points : (n, 3) float, mm
    triangles : (m, 3) int
        Facing outward: parts of those of the foam, then those that fill the faces.
    n_walls : int, dimensionless
        How many the first are.
    """

    points: NDArray[np.float64]
    triangles: NDArray[np.int32]
    n_walls: int

    @property
    def faces(self) -> FacesLeft:
        """The faces that cutting it from the foam has left."""
        used, triangles = in_use(self.triangles[self.n_walls :].astype(np.int64))
        return self.points[used], triangles


@record(frozen=True, slots=True, kw_only=True, eq=False)
class LayersCut:
    """The foam as it is looked at when it is glued, cut into its layers.

    Attributes
    ----------
    foam : FoamSeen
    layers : tuple of LayerCut
        In the order of stacking.
    bands : mapping of int to Band
        The same of those that are looked at by themselves, by their places in the stack: of all layers, or
        of those that are pictured where they are parts of the foam that is shown whole.
    """

    foam: FoamSeen
    layers: tuple[LayerCut, ...]
    bands: Mapping[int, Band]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class LayersSeen:
    """Layers as they lie in the plug, to be looked at.

    Attributes
    ----------
    surfaces : mapping of int to Shaded
        By their places in the stack: of all layers, or of those that are pictured where there are faces.
    cut : tuple of LayerCut
        All of them; none where the foam between their faces is not all of it.
    """

    surfaces: Mapping[int, Shaded] = field(default_factory=dict)
    cut: tuple[LayerCut, ...] = ()


def foam_bays(
    spans: Sequence[Span], thicknesses: Sequence[float], low: float, high: float
) -> tuple[FoamBay, ...]:
    """Return the bays of foam that templates leave along the plug, with the sheets that fill them.

    Parameters
    ----------
    spans : sequence of Span
        Where station templates stand, rising.
    thicknesses : sequence of float, mm
        Of the sheets that may be used, as often as needed.
    low, high : float, mm
        Where the foam begins and ends along x.

    Returns
    -------
    tuple of FoamBay
        Rising along x; each takes the fewest sheets that fill it, and of those the least waste.

    Raises
    ------
    PlugError
        No sheets, or more in a bay than anybody stacks.
    """
    if not thicknesses:
        raise PlugError(
            param="stack.thicknesses",
            value=(),
            reason="there is no foam",
            remedy="give at least 1 sheet, such as (50.0,)",
        )
    known = sorted(set(thicknesses), reverse=True)
    edges = [low, *(face for span in spans for face in (span.from_mm, span.to_mm)), high]
    bays = []
    for begin, finish in zip(edges[0::2], edges[1::2], strict=True):
        if finish - begin > LENGTH:
            bays.append(FoamBay(from_mm=begin, to_mm=finish, sheets=_filled(begin, finish, known)))
    return tuple(bays)


def _filled(begin: float, finish: float, known: Sequence[float]) -> tuple[Slab, ...]:
    """Return the sheets that fill a bay."""
    slabs, place = [], begin
    chosen = _sheets(finish - begin, known)
    for i, thickness in enumerate(chosen):
        end = finish if i == len(chosen) - 1 else place + thickness
        slabs.append(Slab(from_mm=place, to_mm=end, thickness=thickness))
        place = end
    return tuple(slabs)


def _sheets(need: float, known: Sequence[float]) -> list[float]:
    """Return the fewest sheets that cover a length, and of those the ones with the least over it.

    So many of the thickest as are needed are exchanged for thinner ones while they still cover it.
    """
    thickest = known[0]
    count = max(1, math.ceil((need - LENGTH) / thickest))
    if count > _MOST_SHEETS:
        raise PlugError(
            param="stack.thicknesses",
            value=tuple(known),
            reason=f"a bay of {need:.1f} mm would take {count} sheets",
            remedy=f"use sheets of at least {math.ceil(10.0 * need / _MOST_SHEETS) / 10.0:.1f} mm",
        )
    spare = math.floor((count * thickest - need + LENGTH) / _STEP)
    savings = {round((thickest - t) / _STEP): t for t in known[1:]}
    best: dict[int, tuple[float, ...]] = {0: ()}
    newest = dict(best)
    while newest:
        grown = {
            saved + more: (*taken, sheet)
            for saved, taken in newest.items()
            if len(taken) < count
            for more, sheet in savings.items()
            if saved + more <= spare and more > 0
        }
        newest = {saved: taken for saved, taken in grown.items() if saved not in best}
        best |= newest
    exchanged = best[max(best)]
    return sorted([*exchanged, *[thickest] * (count - len(exchanged))], reverse=True)


def bay_faces(bays: Sequence[FoamBay]) -> Faces:
    """Return where the faces of the foam in bays lie, to sample the surface for them.

    Parameters
    ----------
    bays : sequence of FoamBay

    Returns
    -------
    Faces
    """
    places = {face for bay in bays for slab in bay.sheets for face in (slab.from_mm, slab.to_mm)}
    return Faces(axis="x", places=np.array(sorted(places)))


def without_plates(body: Body, templates: Sequence[Template]) -> Body:
    """Return the foam of a body in which lengthwise templates stand: nothing over their thickness.

    Parameters
    ----------
    body : Body
    templates : sequence of Template

    Returns
    -------
    Body
    """
    measures = mesh.measure(body)
    low, high = measures.lower - 1.0, measures.upper + 1.0
    for template in templates:
        if template.axis == "y":
            strip = shapely.box(template.from_mm, low[2], template.to_mm, high[2])
            room = mesh.extruded(shapely.MultiPolygon([strip]), "x", float(low[0]), float(high[0]))
            body = mesh.less(body, room)
    return body


def bay_layers(
    foam: Body, bays: Sequence[FoamBay], templates: Sequence[Template], allowance: float
) -> tuple[tuple[Layer, ...], tuple[Finding, ...]]:
    """Return the layers of foam in the bays between templates, and what is doubtful about them.

    Parameters
    ----------
    foam : Body
        As from `without_plates`.
    bays : sequence of FoamBay
    templates : sequence of Template
        Lengthwise ones part the foam: over their thickness it is left out where they stand.
    allowance : float, mm
        Foam left standing all round for sanding.

    Returns
    -------
    tuple of (tuple of Layer) and (tuple of Finding)
        Rising along x.
    """
    slabs = [slab for bay in bays for slab in bay.sheets]
    layers = make_slab_layers(foam, slabs, axis="x", allowance=allowance)
    strips = lengthwise_room(foam, templates, allowance)
    if strips is not None:
        layers = tuple(_parted(layer, strips) for layer in layers)
    return layers, _doubts(layers)


def lengthwise_room(foam: Body, templates: Sequence[Template], allowance: float) -> shapely.Geometry | None:
    """Return where lengthwise templates part the layers of bays.

    Parameters
    ----------
    foam : Body
    templates : sequence of Template
    allowance : float, mm
        Foam left standing all round for sanding.

    Returns
    -------
    shapely geometry or None, mm
        Along y and z; None without such templates.
    """
    measures = mesh.measure(foam)
    low, high = measures.lower - 1.0 - allowance, measures.upper + 1.0 + allowance
    strips = [shapely.box(t.from_mm, low[2], t.to_mm, high[2]) for t in templates if t.axis == "y"]
    return shapely.union_all(strips) if strips else None


def _parted(layer: Layer, strips: shapely.Geometry) -> Layer:
    """Return a layer whose rough outline leaves room for the lengthwise templates: no allowance there."""
    rough = shapely.get_parts(layer.rough.difference(strips))
    return replace(layer, rough=shapely.MultiPolygon([part for part in rough if part.area > 0.0]))


def _doubts(layers: Sequence[Layer]) -> tuple[Finding, ...]:
    """Return the layers of bays that are too thin to handle."""
    return tuple(
        Finding(
            code="thin-layer",
            severity="mind",
            where=f"layer {layer.name}, x = {as_length(layer.from_mm, '.1f', 'bare')} to "
            f"{as_length(layer.to_mm, '.1f', 'bare')}",
            message=f"the bay leaves {as_length(layer.to_mm - layer.from_mm, '.1f')} of a "
            f"{as_length(layer.thickness, 'g', 'size')} sheet, and under {as_length(_THINNEST, 'g')} breaks "
            "in the hand (common practice)",
            remedy="move a template, or list another sheet",
        )
        for layer in layers
        if layer.to_mm - layer.from_mm < min(_THINNEST, layer.thickness - 0.05)
    )


def foam_seen(
    bare: Body,
    hollowed: Collection[int],
    layers: Sequence[Layer],
    templates: Sequence[Template],
    *,
    are_parts: bool = True,
) -> FoamSeen:
    """Return the foam as it is looked at when it is glued.

    Parameters
    ----------
    bare : Body
        Of shaded surfaces.
    hollowed : collection of int
        Origins of what was cut from it, as `plugs.mesh.shaded.known` takes them.
    layers : sequence of Layer
    templates : sequence of Template
        That stand in the stack.
    are_parts : bool
        Whether the foam between the faces of each layer is all of it.

    Returns
    -------
    FoamSeen
    """
    whole = mesh.volume_of(bare)
    if layers and whole - sum(layer.volume_mm3 for layer in layers) > _ROOM_RATIO * whole:
        bare = without_plates(bare, templates)  # the layers leave room for templates that stand in the stack
        are_parts &= all(template.axis == layers[0].axis for template in templates)
    return FoamSeen(surface=known(bare, hollowed), are_parts=are_parts)


def cut_layers(foam: FoamSeen, layers: Sequence[Layer]) -> LayersCut:
    """Return the foam as it is looked at, cut into its layers.

    Parameters
    ----------
    foam : FoamSeen
    layers : sequence of Layer

    Returns
    -------
    LayersCut
    """
    shown = range(0, len(layers), every(layers) if foam.are_parts else 1)
    bands, closed = dict[int, Band](), dict[int, LayerCut]()
    for i, part in layer_bands(foam.surface, layers):
        points, triangles = part.points.copy(), part.triangles.astype(np.int32)  # not all of its neighbours'
        closed[i] = LayerCut(points=points, triangles=triangles, n_walls=len(part.source))
        if i in shown:
            bands[i] = replace(part, points=points)
    return LayersCut(
        foam=foam,
        layers=tuple(closed[i] for i in sorted(closed)),
        bands={i: bands[i] for i in sorted(bands)},
    )


def layers_seen(cut: LayersCut) -> LayersSeen:
    """Return the layers as they lie in the plug, to be looked at.

    Parameters
    ----------
    cut : LayersCut

    Returns
    -------
    LayersSeen
    """
    surface = cut.foam.surface
    return LayersSeen(
        surfaces={i: shaded(known_in(surface, band)) for i, band in cut.bands.items()},
        cut=cut.layers if cut.foam.are_parts else (),
    )


def layer_bands(surface: Known, layers: Sequence[Layer]) -> Iterator[tuple[int, Band]]:
    """Yield what of a surface lies in each layer.

    Parameters
    ----------
    surface : Known
        What reaches a little out of the stack belongs to the layer at that end.
    layers : sequence of Layer

    Yields
    ------
    tuple of int and Band
        Which of the layers, and what lies there; rising along their axis.
    """
    if not layers:
        return
    axis, rising = layers[0].axis, sorted(range(len(layers)), key=lambda i: layers[i].from_mm)
    low, high = extents(surface.points[None, :, "xyz".index(axis)])
    spans = reaches([layers[i] for i in rising], float(low[0]) + _BEYOND, float(high[0]) - _BEYOND)
    yield from zip(rising, cut_in_bands(surface.points, surface.triangles, axis, spans), strict=True)


def every(layers: Sequence[Layer]) -> int:
    """Return of how many layers one is pictured.

    Parameters
    ----------
    layers : sequence of Layer

    Returns
    -------
    int
    """
    return max(1, -(-len(layers) // _MOST_PICTURED))
