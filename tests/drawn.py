"""Drawings of layers alone."""

from __future__ import annotations

from plugs.drafting.drawing import Drawing
from plugs.drafting.glue import Joining
from plugs.drafting.layer import LayerJob, drawn_layers
from plugs.drafting.outlines import LayerOutlines


def layer_drawing(layer: LayerOutlines, joining: Joining | None = None, **words: object) -> Drawing:
    """Return the drawing of a layer, with its share of what the whole plug is joined by."""
    own = Joining() if joining is None else joining.of(layer.name)
    (drawing,) = drawn_layers([LayerJob(layer=layer, joining=own, **words)])
    return drawing
