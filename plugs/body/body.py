"""The plug's body: the section solid, what is put on it and what is taken off it, in the mesh engine."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from itertools import combinations

import numpy as np

from plugs.body.body_face import BodyFace, body_face_of
from plugs.body.form_places import check_forms
from plugs.body.mating import MatingCut, MatingFace, face_of
from plugs.body.mating_body import BodyCut
from plugs.body.proof import integrate
from plugs.ground.errors import PlugError, promise
from plugs.ground.records import record
from plugs.ground.tolerances import NO_VOLUME_MM3
from plugs.ground.twins import begun
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.grid_mesh import body_of_grid
from plugs.mesh.mesh import Body, Measures
from plugs.mesh.sampling import Faces, sample
from plugs.recesses.opening import Opening
from plugs.recesses.recess import THROUGH, Boss, Recess, Tool, make_tool
from plugs.skin.skin import Cover

_OF_FORM = 2e-3
"""Of a form's width: no coarser is it sampled, or chords would take a hundredth of its area."""
_SKIN = 1.0
"""mm. Foam left under a recess, so that its floor is no film; thinner cannot be cut (common practice, no
source)."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """A shape of the recipe's own.

    Attributes
    ----------
    param : str
        Where the recipe gives it, ``"added[0]"``.
    kind : str
        "add" or "cut".
    brep : bytes
        For the kernel engine.
    body : Body
    """

    param: str
    kind: str
    brep: bytes
    body: Body


@record(frozen=True, slots=True, kw_only=True, eq=False)
class MadeOf:
    """What a plug's body is made of.

    Attributes
    ----------
    loft : Loft
    tolerance : float, mm
        Largest distance between surface and mesh.
    tools : tuple of Tool
    shapes : tuple of Shape
    mating : tuple of MatingCut or BodyCut
        Cut last.
    """

    loft: Loft
    tolerance: float
    tools: tuple[Tool, ...]
    shapes: tuple[Shape, ...]
    mating: tuple[MatingCut | BodyCut, ...]


@record(frozen=True, kw_only=True, eq=False)
class Solid(MadeOf):
    """A finished plug in the mesh engine.

    Attributes
    ----------
    cutters : tuple of Body
        Of each tool.
    plain, uncut, body : Body
        Before tools, shapes and mating cuts; before recesses alone; after all.
    by_sections, plain_by_mesh, by_mesh : Measures
        Of the plain body by integration and by its mesh, and of the finished body.
    """

    cutters: tuple[Body, ...]
    plain: Body
    uncut: Body
    body: Body
    by_sections: Measures
    plain_by_mesh: Measures
    by_mesh: Measures

    @cached_property
    def faces(self) -> tuple[MatingFace | BodyFace, ...]:
        """The mating faces, each measured after all cuts.

        Returns
        -------
        tuple of MatingFace or BodyFace

        Raises
        ------
        PlugError
            One does not touch the plug.
        """
        return tuple(
            body_face_of(cut, self.body) if isinstance(cut, BodyCut) else face_of(cut, self.body)
            for cut in self.mating
        )

    @property
    def volume_m3(self) -> float:
        """Volume."""
        return 1e-9 * self.by_mesh.volume_mm3

    @property
    def area_m2(self) -> float:
        """Area of the whole surface."""
        return 1e-6 * self.by_mesh.area_mm2


def make_solid(
    loft: Loft,
    tools: Sequence[Tool],
    shapes: Sequence[Shape],
    tolerance: float,
    mating: Sequence[MatingCut | BodyCut] = (),
    faces: Faces | None = None,
) -> Solid:
    """Return the body of a plug with its recesses, bosses and own shapes, proved twice.

    Parameters
    ----------
    loft : Loft
    tools : sequence of Tool
    shapes : sequence of Shape
    tolerance : float, mm
        Largest distance between surface and mesh.
    mating : sequence of MatingCut or BodyCut
        Cut before recesses.
    faces : Faces or None
        Where outlines will be taken.

    Returns
    -------
    Solid

    Raises
    ------
    PlugError
        Tools that meet or break through; nothing left.
    """
    grid = sample(loft, tolerance, faces)
    integrated = begun(integrate, loft, grid)
    plain = body_of_grid(grid)
    bodies = [_tool_body(tool, tolerance, faces) for tool in tools]
    _check_tools(plain, tools, bodies)
    uncut, result = _uncut_and_cut(plain, tools, _pieces(tools, bodies, shapes, mating))
    by_sections, by_mesh = integrated(), mesh.measure(result)
    plain_by_mesh = by_mesh if result is plain else mesh.measure(plain)
    _prove(by_sections, plain_by_mesh, tolerance)
    return Solid(
        loft=loft,
        tolerance=tolerance,
        tools=tuple(tools),
        cutters=tuple(bodies),
        shapes=tuple(shapes),
        mating=tuple(mating),
        plain=plain,
        uncut=uncut,
        body=result,
        by_sections=by_sections,
        plain_by_mesh=plain_by_mesh,
        by_mesh=by_mesh,
    )


def _check_tools(plain: Body, tools: Sequence[Tool], bodies: Sequence[Body]) -> None:
    """Refuse tools that meet or break through, and forms that change nothing."""
    for tool, body in zip(tools, bodies, strict=True):
        _check_within(plain, tool, body)
        _check_in_one_piece(plain, tool, body)
    check_forms(plain, tools, bodies)
    for (first, a), (second, b) in combinations(zip(tools, bodies, strict=True), 2):
        _check_apart(plain, first, a, second, b)


def _tool_body(tool: Tool, tolerance: float, faces: Faces | None) -> Body:
    """Return the body of a tool in its place; that of a form, which may be as large as a plug, proved."""
    if tool.cover is None:
        return mesh.placed(body_of_grid(sample(tool.loft, tolerance)), tool.frame)
    if faces is not None:
        is_straight = bool((tool.frame[:, :3] == np.eye(3)).all())
        moved = faces.places - tool.frame["xyz".index(faces.axis), 3]
        faces = Faces(axis=faces.axis, places=moved) if is_straight else None
    corners = tool.loft.sections(tool.loft.breaks).corners
    size = np.ptp(corners.reshape(-1, 2), axis=0).min()
    tolerance = min(tolerance, _OF_FORM * float(size))
    grid = sample(tool.loft, tolerance, faces)
    body = body_of_grid(grid)
    _prove(integrate(tool.loft, grid), mesh.measure(body), tolerance)
    return mesh.placed(body, tool.frame)


def _pieces(
    tools: Sequence[Tool],
    bodies: Sequence[Body],
    shapes: Sequence[Shape],
    mating: Sequence[MatingCut | BodyCut],
) -> list[tuple[str, Body, str]]:
    """Return everything that is put on a plug or taken off it, in order."""
    pieces = [(tool.kind, body, tool.param) for tool, body in zip(tools, bodies, strict=True)]
    pieces += [(shape.kind, shape.body, shape.param) for shape in shapes]
    return pieces + [("cut", cut.body, cut.param) for cut in mating]


def _uncut_and_cut(
    plain: Body, tools: Sequence[Tool], pieces: Sequence[tuple[str, Body, str]]
) -> tuple[Body, Body]:
    """Return a body with all pieces but recesses, which are cut last, and with these too."""
    recesses = {tool.param for tool in tools if tool.is_recess}
    uncut = _worked(plain, [piece for piece in pieces if piece[2] not in recesses])
    return uncut, _worked(uncut, [piece for piece in pieces if piece[2] in recesses])


def body_before(solid: Solid, params: Sequence[str]) -> Body:
    """Return the body of a plug before some of its recesses are cut.

    Parameters
    ----------
    solid : Solid
    params : sequence of str
        Of the tools to leave out.

    Returns
    -------
    Body
    """
    recesses = {tool.param for tool in solid.tools if tool.is_recess}
    pieces = _pieces(solid.tools, solid.cutters, solid.shapes, solid.mating)
    left = [piece for piece in pieces if piece[2] not in params]
    if recesses.issuperset(params):
        return _worked(solid.uncut, [piece for piece in left if piece[2] in recesses])
    return _worked(solid.plain, left)


def remade(solid: MadeOf, plain: Body, parts: Mapping[str, Body]) -> Body:
    """Return the body of a plug made again of other bodies of the same shape.

    Parameters
    ----------
    solid : MadeOf
    plain : Body
        In the place of its own, before tools and shapes.
    parts : mapping of str to Body
        In the place of tools, shapes and mating cuts, by where the recipe gives them; what is not among
        them is left out.

    Returns
    -------
    Body
    """
    kinds = [(tool.kind, tool.param) for tool in solid.tools]
    kinds += [(shape.kind, shape.param) for shape in solid.shapes]
    kinds += [("cut", cut.param) for cut in solid.mating]
    return _worked(plain, [(kind, parts[param], param) for kind, param in kinds if param in parts])


def _worked(plain: Body, pieces: Sequence[tuple[str, Body, str]]) -> Body:
    """Return a body with pieces added, then others cut away."""
    added = [body for kind, body, _ in pieces if kind == "add"]
    result = mesh.joined([plain, *added]) if added else plain
    for kind, cutter, param in pieces:
        if kind == "cut":
            result = mesh.less(result, cutter)
            if result.is_empty or mesh.volume_of(result) <= NO_VOLUME_MM3:
                raise PlugError(
                    param=param,
                    value="cuts everything",
                    reason="nothing is left of the plug",
                    remedy="cut less than 100 % of it away: look at where this lies, and in which unit",
                )
    return result


def make_tools(
    loft: Loft, items: Sequence[Recess | Boss | None], word: str, cover: Cover | None = None
) -> list[Tool]:
    """Return the tools of a list of recesses or bosses.

    Parameters
    ----------
    loft : Loft
        Of the finished surface.
    items : sequence of Recess, Boss or None
        None where one of the list asks for nothing.
    word : str
        The recipe's word for the list, "recesses" or "bosses".
    cover : Cover or None
        What will lie over the foam, for the tools that shape the foam.

    Returns
    -------
    list of Tool
    """
    return [
        make_tool(loft, item, f"{word}[{i}]", 0.0 if cover is None else cover.over(loft, item.panel))
        for i, item in enumerate(items)
        if item is not None
    ]


def make_all_tools(
    loft: Loft,
    covers: Sequence[Cover | None],
    bosses: Sequence[Boss | None],
    recesses: Sequence[Recess | None],
    openings: Sequence[Opening],
) -> list[list[Tool]]:
    """Return the tools of all bosses, recesses and openings, once under each of some covers.

    Parameters
    ----------
    loft, covers
        As for `make_tools`.
    bosses, recesses, openings : sequence
        Of a recipe.

    Returns
    -------
    list of list of Tool
        For each cover, in that order.
    """
    wells = [opening.well for opening in openings]
    words = (("bosses", bosses), ("recesses", recesses), ("openings", wells))
    return [
        [tool for word, items in words for tool in make_tools(loft, items, word, cover)] for cover in covers
    ]


def _prove(by_sections: Measures, by_mesh: Measures, tolerance: float) -> None:
    """Stop when the two engines disagree by more than the mesh's own tolerance can explain."""
    allowed = tolerance * by_sections.area_mm2 + 1e-6 * by_sections.volume_mm3
    gap = abs(by_sections.volume_mm3 - by_mesh.volume_mm3)
    both = f"volume by sections {by_sections.volume_mm3} and by mesh {by_mesh.volume_mm3} mm3"
    promise(gap <= allowed, f"{both} disagree")
    reach = float(np.linalg.norm(by_mesh.upper - by_mesh.lower))
    drift = float(np.abs(by_sections.centroid - by_mesh.centroid).max())
    promise(drift <= reach * allowed / by_sections.volume_mm3, f"centroids disagree by {drift} mm")
    ratio = abs(by_mesh.area_mm2 / by_sections.area_mm2 - 1.0)
    promise(ratio <= 0.01, f"areas disagree by {100 * ratio} %")


def _check_within(plain: Body, tool: Tool, body: Body) -> None:
    """Refuse a tool that comes out of the plug anywhere but at its mouth or top."""
    if tool.is_through:
        return
    word = "depth" if tool.kind == "cut" else "rise"
    depths = []
    for part in mesh.parts(mesh.less(body, plain)):
        if mesh.volume_of(part) <= NO_VOLUME_MM3:
            continue
        along = (mesh.triangles_of(part)[0] - tool.frame[:, 3]) @ tool.frame[:, 0]
        at_mouth = along.min() < -0.5 if tool.kind == "cut" else along.max() > tool.depth - 1e-6
        if not at_mouth:
            depths.append((float(along.min()), float(along.max())))
    if not depths:
        return
    if tool.kind == "add":
        raise PlugError(
            param=f"{tool.param}.{word}",
            value=tool.drawn_depth,
            where=tool.name,
            reason="the foot of the boss comes out on the other side of the plug",
            remedy="set it where the plug is thicker",
        )
    first, last = min(d[0] for d in depths), max(d[1] for d in depths)
    through = f'depth="{THROUGH}"'
    most = float(np.floor((first - tool.skin - _SKIN) * 10) / 10)
    raise PlugError(
        param=f"{tool.param}.{word}",
        value=tool.drawn_depth,
        where=tool.name,
        reason=f"it breaks through the far side of the plug, by {last - first:.1f} mm",
        remedy=f"use at most {most:g}, or {through}"
        if most > 0.1
        else f"set it where the plug is thicker, or {through}",
        would_do=[(f"{tool.param}.{word}", most if most > 0.1 else THROUGH)],
    )


def _check_in_one_piece(plain: Body, tool: Tool, body: Body) -> None:
    """Refuse a recess over an edge that leaves a piece of the plug on its far side."""
    if tool.over_edge == 0.0:
        return
    left = [part for part in mesh.parts(mesh.less(plain, body)) if mesh.volume_of(part) > NO_VOLUME_MM3]
    if len(left) == len(mesh.parts(plain)):
        return
    ways = tool.frame[:, 1:3]
    cut, there = (
        np.ptp(mesh.triangles_of(one)[0] @ ways, axis=0) for one in (body, mesh.common(body, plain))
    )
    axis = int(np.argmax(cut - there))
    word, most = ("width", "height")[axis], float(np.floor(0.9 * there[axis] - 2.0 * tool.skin))
    raise PlugError(
        param=f"{tool.param}.{word}",
        value=float(round(cut[axis] - 2.0 * tool.skin, 1)),
        where=tool.name,
        reason=f"it cuts the plug into {len(left)} pieces: nothing holds them together",
        remedy=f"use at most {most:g}, or cut it less deep",
        would_do=[(f"{tool.param}.{word}", most)],
    )


def _check_apart(plain: Body, first: Tool, a: Body, second: Tool, b: Body) -> None:
    """Refuse two tools that meet, unless both are forms: a scoop is put on, and its duct cut through both."""
    if first.cover is not None and second.cover is not None:
        return
    shared = mesh.common(a, b)
    if first.kind == "cut" and second.kind == "cut":
        shared = mesh.common(shared, plain)
    if mesh.volume_of(shared) <= NO_VOLUME_MM3:
        return
    local = (mesh.triangles_of(shared)[0] - second.frame[:, 3]) @ second.frame[:, :3]
    extent = np.ptp(local, axis=0)[1:]
    by = float(extent.min())
    word = "width" if int(np.argmin(extent)) == 0 else "height"
    raise PlugError(
        param=second.param,
        value=second.name,
        reason=f"it meets {first.param}, {first.name}, by {by:.1f} mm along its {word}",
        remedy=f"move one of them {by + _SKIN:.1f} mm away",
    )
