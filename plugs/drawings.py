"""Which drawings a build makes, and where in its folder each one goes."""

from __future__ import annotations

from typing import TypedDict

from plugs.design import Work
from plugs.foam.layers import Layer
from plugs.output.base_drawing import base_drawing
from plugs.output.drawing import layer_drawing
from plugs.output.drawing_run import PaperJob
from plugs.output.glue_drawing import with_glue
from plugs.output.picture import Drawing
from plugs.output.pieces_drawing import with_pieces
from plugs.output.recess_drawing import recess_drawing
from plugs.output.sanding_drawing import block_drawing
from plugs.output.sanding_map import sanding_map
from plugs.output.sheet_drawing import sheet_drawing
from plugs.output.template_drawing import template_drawing
from plugs.paper import paper_of


class _Words(TypedDict):
    """What every drawing is told."""

    plug_name: str
    display_unit: str


SANDING_MAP = "templates/sanding-map"
"""Where the sanding map goes, without its ending."""

FULL_SIZE = "templates/full-size.pdf"
"""Where the full-size paper goes."""

_SEEN_DEG = 5.0
"""A second net on a patch that shears by less shows nothing in a drawing, degrees."""


def layer_stem(layer: Layer) -> str:
    """Return the file name of a layer's drawings, without its ending.

    Parameters
    ----------
    layer : Layer

    Returns
    -------
    str
    """
    return f"layer-{layer.name[1:]}"


def layer_drawings(work: Work) -> dict[str, Drawing]:
    """Return the drawing of each layer, with its pieces, glue and pins.

    Parameters
    ----------
    work : Work

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    words, parts = _words(work), work.parts
    unit = work.design.plug.display_unit
    whole, voids = parts.pieces, parts.voids
    named = [
        with_pieces(
            layer_drawing(layer, **words), layer, whole.pieces, whole.joints, voids, display_unit=unit
        )
        for layer in work.layers
    ]
    glued = with_glue(named, work.layers, parts.pinned, display_unit=unit)
    return {f"layers/{layer_stem(layer)}": drawing for layer, drawing in zip(work.layers, glued, strict=True)}


def template_drawings(work: Work) -> dict[str, Drawing]:
    """Return the drawings of templates, base plan, radius blocks and recess kits.

    Parameters
    ----------
    work : Work

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    words, parts = _words(work), work.parts
    drawings = [template_drawing(template, **words) for template in parts.templates]
    drawings.append(base_drawing(parts.base, **words))
    drawings += [block_drawing(block, parts.sanding.words, **words) for block in parts.sanding.blocks]
    drawings += [
        recess_drawing(kit, name=f"recess-{i:02d}", **words) for i, kit in enumerate(parts.kits, start=1)
    ]
    return {f"templates/{drawing.name}": drawing for drawing in drawings}


def cloth_drawings(work: Work) -> dict[str, Drawing]:
    """Return the drawing of each piece of cloth, at full size.

    Parameters
    ----------
    work : Work

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending; none without a schedule.
    """
    if work.lamination is None:
        return {}
    from plugs.output.cloth_drawing import file_name, pattern_drawing

    return {
        f"cloth/{file_name(one.pattern.name)}": pattern_drawing(one.pattern, **_words(work))
        for roll in work.lamination.rolls
        for one in roll.laid
    }


def _looked_at(work: Work) -> dict[str, Drawing]:
    """Return the drawings of rolls and of the cloth's shear."""
    if work.lamination is None:
        return {}
    from plugs.output.cloth_drawing import file_name, roll_drawing
    from plugs.output.drape_drawing import drape_drawing

    words, made = _words(work), work.lamination
    rolls = {f"cloth/roll-{file_name(roll.cloth)}": roll_drawing(roll, **words) for roll in made.rolls}
    nets = {
        f"cloth/shear-{file_name(net.name)}": drape_drawing(
            net.surface,
            net.drape,
            zone=net.name,
            name=f"shear-{file_name(net.name)}",
            darts=net.darts,
            **words,
        )
        for net in made.nets
        if net.name == net.patch.name or net.drape.largest_shear_deg > _SEEN_DEG
    }
    return rolls | nets


def is_pictured(stem: str) -> bool:
    """Return whether a drawing is made into a picture too: the sanding map and the cloth's shear.

    Parameters
    ----------
    stem : str
        Its path in the folder, without ending.

    Returns
    -------
    bool
    """
    return stem == SANDING_MAP or stem.startswith("cloth/shear-")


def sheet_drawings(work: Work) -> dict[str, Drawing]:
    """Return what is looked at, not printed to size: sheets of foam, sanding map, rolls, the cloth's shear.

    Parameters
    ----------
    work : Work

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    words, nesting = _words(work), work.parts.nesting
    found = {SANDING_MAP: sanding_map(work.parts.sanding, **words)}
    if nesting is not None:
        drawings = [sheet_drawing(sheet, nesting, **words) for sheet in nesting.sheets]
        found |= {f"sheets/{drawing.name}": drawing for drawing in drawings}
    return found | _looked_at(work)


def _words(work: Work) -> _Words:
    """Return what every drawing is told."""
    return {"plug_name": work.design.plug.name, "display_unit": work.design.plug.display_unit}


def edge_drawings(work: Work) -> dict[str, Drawing]:
    """Return the drawing of each mating face's edge.

    Parameters
    ----------
    work : Work

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    if not work.solid.faces:
        return {}
    from plugs.output.mating_drawing import edge_drawing

    return {
        f"templates/mating-{i}-edge": edge_drawing(face, name=f"mating-{i}-edge", **_words(work))
        for i, face in enumerate(work.solid.faces, start=1)
    }


def paper_job(work: Work, stems: tuple[str, ...]) -> PaperJob:
    """Return what is printed at full size, and on what.

    Parameters
    ----------
    work : Work
    stems : tuple of str
        The drawings, by their paths without ending.

    Returns
    -------
    PaperJob
    """
    plug = work.design.plug
    paper = paper_of(plug.paper, margin=plug.paper_margin, overlap=plug.paper_overlap)
    return PaperJob(path=FULL_SIZE, stems=stems, paper=paper, title=plug.name)
