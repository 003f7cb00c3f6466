"""Templates of forms: the foam's line at each of a form's stations, in the plane of that station."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.body import Solid, body_before
from plugs.ground.errors import present
from plugs.ground.records import record
from plugs.lines.ring_shapes import by_sag
from plugs.lines.rings import solve_rings
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.recesses.recess import Tool

Array = NDArray[np.float64]

_CARD: Final = 0.05
"""mm. Half of what a section is thickened by, to tell whether it meets foam."""
_LEAST_MM2: Final = 100.0
"""mm2. A smaller section, 10 x 10 mm, is an edge or a point, of which there is no template."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class FormTemplate:
    """The foam's line of a form at one of its stations.

    Attributes
    ----------
    form, kind : str
        Its name, and "cut" or "add".
    number : int
        Of the station, from 1.
    x : float, mm
        Of the station, along the form's own axis.
    outline : shapely.Polygon, mm
        To the form's own right and up, in the station's plane: seen from behind, looking along the axis.
    place : (3,) float, mm
        Where the middle of that lies in the plug.
    """

    form: str
    kind: str
    number: int
    x: float
    outline: shapely.Polygon
    place: Array

    @property
    def name(self) -> str:
        """What it is called."""
        return f"{self.form} {self.number}"


def form_templates(solid: Solid) -> tuple[FormTemplate, ...]:
    """Return the templates of forms, before the blends of their ends draw them in.

    Parameters
    ----------
    solid : Solid
        The foam; its recesses and bosses have kits of their own.

    Returns
    -------
    tuple of FormTemplate
        None where the section meets no foam: beyond an open end.
    """
    forms = [tool for tool in solid.tools if tool.cover is not None]
    ground = body_before(solid, [tool.param for tool in forms if tool.kind == "cut"]) if forms else None
    return tuple(one for tool in forms for one in _of_form(tool, present(ground)))


def _of_form(tool: Tool, ground: Body) -> list[FormTemplate]:
    """Return the templates of one form in the foam before any form is cut from it."""
    loft = tool.loft
    u = loft.table.x
    k = loft.lean_at(u)
    rings = solve_rings(*loft.unblended(u, k))
    found = []
    for i, plane in enumerate(rings.at(*by_sag(rings))):
        outline = shapely.Polygon(plane * [1.0, np.hypot(1.0, k[i])]).buffer(0.0)
        if not isinstance(outline, shapely.Polygon) or outline.area < _LEAST_MM2:
            continue
        card = mesh.extruded(shapely.MultiPolygon([shapely.Polygon(plane)]), "x", -_CARD, _CARD)
        lean = np.array([[1.0, 0.0, k[i], u[i]], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]])
        lean = lean if loft.table.course is None else loft.table.course.frames(u[i : i + 1])[0]
        card = mesh.placed(mesh.placed(card, lean), tool.frame)
        if mesh.volume_of(mesh.common(card, ground)) > _LEAST_MM2 * _CARD:
            y, z = plane.mean(axis=0)
            place = tool.frame[:, :3] @ (lean @ [0.0, y, z, 1.0]) + tool.frame[:, 3]
            made = FormTemplate(
                form=tool.name, kind=tool.kind, number=i + 1, x=float(u[i]), outline=outline, place=place
            )
            found.append(made)
    return found
