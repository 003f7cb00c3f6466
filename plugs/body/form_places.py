"""Where forms lie on a plug: each meets it, what is put on stands out of it, what is cut opens somewhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import NO_VOLUME_MM3
from plugs.mesh import mesh
from plugs.mesh.faces import box_of
from plugs.mesh.mesh import Body
from plugs.recesses.recess import Tool

_OUT: Final = 1.0
"""mm. So far a form stands out of what it is moved out of, as a recess's cutter does."""


def check_forms(plain: Body, tools: Sequence[Tool], bodies: Sequence[Body]) -> None:
    """Refuse forms that change nothing, and those that would be hollows that nobody gets at.

    Parameters
    ----------
    plain : Body
        The plug before anything is put on it or cut.
    tools : sequence of Tool
        Those that are no forms are only in the way.
    bodies : sequence of Body
        Of each tool.

    Raises
    ------
    PlugError
        With a move that would do.
    """
    found = list(zip(tools, bodies, strict=True))
    forms = [(tool, body) for tool, body in found if tool.cover is not None]
    if not forms:
        return
    put_on = [body for tool, body in found if tool.kind == "add"]
    whole = mesh.joined([plain, *put_on]) if put_on else plain
    for tool, body in forms:
        others = [other for other in put_on if other is not body]
        ground = whole if tool.kind == "cut" else mesh.joined([plain, *others]) if others else plain
        if mesh.volume_of(mesh.common(body, ground)) <= NO_VOLUME_MM3:
            raise _moved(tool, body, ground, f"it does not touch the plug{_thinned(tool)}", inward=True)
        cuts = [other for one, other in forms if one.kind == "cut" and other is not body]
        opens = mesh.volume_of(mesh.less(body, ground)) > NO_VOLUME_MM3
        if tool.kind == "cut":
            opens = opens or any(mesh.volume_of(mesh.common(body, cut)) > NO_VOLUME_MM3 for cut in cuts)
        if not opens:
            reason = "it lies wholly inside the plug" + ", and opens nowhere" * (tool.kind == "cut")
            raise _moved(tool, body, ground, reason, inward=False)


def _thinned(tool: Tool) -> str:
    """Return that a skin takes what is put on away from the plug."""
    skin = 0.0 if tool.cover is None or tool.kind == "cut" else tool.cover.largest
    deep = f" in the foam: under {skin:g} mm of skin its foot is drawn {2.0 * skin + _OUT:g} mm deep or more"
    return deep if skin > 0.0 else ""


def _moved(tool: Tool, body: Body, ground: Body, reason: str, *, inward: bool) -> PlugError:
    """Return the error of a form that has to be moved, the least way along one axis."""
    (low, high), (least, most) = box_of(body), box_of(ground)
    move = tool.frame[:, 3].copy()
    middle = 0.5 * (low + high)
    if inward and ((high < least) | (low > most)).any():  # half of it comes to lie within
        move += np.where(high < least, least - middle, np.where(low > most, most - middle, 0.0))
    elif inward:
        move += np.append(0.5 * (least + most)[:2], most[2]) - middle
    else:
        ways = np.concatenate([least - low - _OUT, most - high + _OUT])
        nearest = int(np.argmin(np.abs(ways)))
        move[nearest % 3] += ways[nearest]
    does = tuple(float(v) for v in np.round(move, 1))
    told = ", ".join(f"{v:g}" for v in does)
    return PlugError(
        param=f"{tool.param}.move",
        value=tuple(tool.frame[:, 3].tolist()),
        where=f"form {tool.name!r}",
        reason=reason,
        remedy=f"use ({told}), or draw it {'nearer' if inward else f'out by {_OUT:g} mm or more'}",
        would_do=[(f"{tool.param}.move", does)],
    )
