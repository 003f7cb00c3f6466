"""What is seen of a form: which of its panels and ends are faces of the plug, and which are not."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Solid
from plugs.ground.errors import PlugError
from plugs.ground.figures import tenth_up
from plugs.mesh import mesh
from plugs.mesh.faces import numbered_faces_from
from plugs.mesh.grid_mesh import mesh_of_grid
from plugs.mesh.mesh import body_of_triangles
from plugs.mesh.sampling import sample
from plugs.mesh.triangles import areas
from plugs.recesses.recess import Tool

Array = NDArray[np.float64]

_CHORD = 0.2  # mm. Near enough to tell what lies where
_LEAST_MM2 = 1.0  # of a panel: less is what two samplings of one surface leave
_DEEPER = 1.0  # mm. So much deeper than it must be lies a foot that is drawn as told


def form_faces(solid: Solid, index: int) -> Mapping[str, Array]:
    """Return the faces of the plug that a form made, by its panels and ends.

    Parameters
    ----------
    solid : Solid
    index : int
        Of the form among the solid's tools.

    Returns
    -------
    mapping of str to (m, 3, 3) float, mm
        Facing out of the plug; panels of which nothing is seen are left out.
    """
    tool, grid = solid.tools[index], sample(solid.tools[index].loft, _CHORD)
    own, n = mesh_of_grid(grid), len(tool.loft.table.panel_names)
    is_before = (grid.segment % 2 == 0) & (grid.ratio < 0.5)
    panel = np.append((grid.segment // 2 - is_before) % n, [n, n + 1])[own.column]
    places = [*tool.loft.table.ring_parents, f"{tool.name} front", f"{tool.name} rear"]
    names = list(dict.fromkeys(places))
    numbers = np.array([names.index(place) for place in places])[panel]
    body = mesh.placed(body_of_triangles(own.vertices, own.triangles, numbers), tool.frame)
    pairs = list(zip(solid.tools, solid.cutters, strict=True))
    put_on = [cutter for i, (one, cutter) in enumerate(pairs) if one.kind == "add" and i != index]
    ground = mesh.joined([solid.plain, *put_on]) if put_on else solid.plain
    seen = mesh.less(ground, body) if tool.kind == "cut" else mesh.joined([ground, body])
    for i, (one, cutter) in enumerate(pairs):
        seen = mesh.less(seen, cutter) if one.kind == "cut" and i != index else seen
    corners, number = numbered_faces_from(seen, body)
    found = {name: corners[number == i] for i, name in enumerate(names)}
    return {name: faces for name, faces in found.items() if areas(faces).sum() > _LEAST_MM2}


def check_buried(finish: Solid, foam: Solid) -> None:
    """Refuse what is put on with a foot so little in the plug that the skin lays it bare.

    Parameters
    ----------
    finish, foam : Solid
        With the same tools in the same order.

    Raises
    ------
    PlugError
        With how much deeper it has to be drawn.
    """
    for i, tool in enumerate(foam.tools):
        if tool.kind == "add" and tool.cover is not None and not tool.cover.is_nothing:
            bared = set(form_faces(foam, i)) - set(form_faces(finish, i))
            if bared:
                raise _too_shallow(tool, min(bared), tool.cover.largest)


def _too_shallow(tool: Tool, panel: str, skin: float) -> PlugError:
    """Return the error of a foot that the skin lays bare."""
    deep = tenth_up(2.0 * skin + _DEEPER)
    return PlugError(
        param=f"{tool.param}.stations",
        value=panel,
        where=f"form {tool.name!r}",
        reason=f"it lies within the finished plug, and is laid bare in the foam: plug and form are both "
        f"{skin:g} mm smaller there, and part",
        remedy=f"draw it {deep:g} mm or more deep in the plug, or leave it without laminate: "
        f"skin=Skin(no_laminate=({panel!r}, ...))",
    )
