"""Which drawings a build makes, and where in its folder each one goes."""

from __future__ import annotations

from plugs.design import Work
from plugs.foam.layers import Layer
from plugs.output.drawing import layer_drawing
from plugs.output.drawing_run import PaperJob
from plugs.output.picture import Drawing
from plugs.paper import paper_of

FULL_SIZE = "templates/full-size.pdf"
"""Where the full-size paper goes."""


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
    """Return the drawing of each layer.

    Parameters
    ----------
    work : Work

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    plug = work.design.plug
    return {
        f"layers/{layer_stem(layer)}": layer_drawing(
            layer, plug_name=plug.name, display_unit=plug.display_unit
        )
        for layer in work.layers
    }


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

    plug = work.design.plug
    return {
        f"templates/mating-{i}-edge": edge_drawing(
            face, name=f"mating-{i}-edge", plug_name=plug.name, display_unit=plug.display_unit
        )
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
