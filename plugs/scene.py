"""What there is to look at: foam, finished surface and layers of a plug as named meshes."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from plugs.drawings import OF_CLOTH, edge_drawings, is_pictured, template_drawings
from plugs.files.kinds import DRAWN
from plugs.foam.layers import Layer
from plugs.ground.doors import Output
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.faces import refined, with_fewer_faces
from plugs.mesh.mesh import Body
from plugs.mesh.named import Array, NamedMesh
from plugs.mesh.shaded import Shaded
from plugs.stages.beside import CLOTH, Part, made_beside
from plugs.stages.worked import Worked
from plugs.templates.bays import LayerCut, every

if TYPE_CHECKING:
    from plugs.book.scene import BookScene
    from plugs.drafting.drawing import Drawing
    from plugs.ground.workers import Crew
    from plugs.pictures.changed import ChangedJob
    from plugs.pictures.draft import DraftJob
    from plugs.pictures.views import PictureJob

FOAM_COLOURS: Final = ("#d8c9a6", "#b9d3c2")
"""Of layers in turn, so that each is told from the next; the whole foam has the first."""

_SMALL: Final = 80.0  # mm. Longest side of a triangle that has one colour
_PICTURED: Final = 1.5  # mm. So far its surface may be moved for the sake of fewer triangles
_LINE_SHARE: Final = 1.5e-3  # of the plug's size: half of a line's width on its pictures, some 2 pixels

FINISH_COLOUR: Final = "#8fb6d6"
_FINISHED: Final = "#b9cbd6"
_LAYERS: Final = ("#efd9ae", "#cfe0cc")
"""Of pictures: as the book's view has them."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """The meshes of a plug.

    Attributes
    ----------
    name : str
        Of the plug.
    axis : str
        That the layers lie square to: "x", "y" or "z".
    finish : NamedMesh or None
        The finished surface; None without a skin.
    layers : tuple of NamedMesh
        Where they lie in the plug, in the order of stacking, by their names.
    thicknesses : tuple of float, mm
        Of the layers' sheets.
    """

    name: str
    axis: str
    foam: NamedMesh
    finish: NamedMesh | None
    layers: tuple[NamedMesh, ...]
    thicknesses: tuple[float, ...]

    @property
    def meshes(self) -> tuple[NamedMesh, ...]:
        """Every mesh: the finished surface if there is one, then foam and layers."""
        return (*(() if self.finish is None else (self.finish,)), self.foam, *self.layers)


def plug_meshes(work: Worked) -> Scene:
    """Return the meshes of a plug.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    Scene
    """
    return Scene(
        name=work.plug.name,
        axis=work.plug.stack.axis,
        foam=_named("foam", work.body.body, FOAM_COLOURS[0]),
        finish=None if work.skin_proof is None else _named("finish", work.finish.body, FINISH_COLOUR),
        layers=layer_meshes(work.layers, work.layers_cut.layers),
        thicknesses=tuple(layer.thickness for layer in work.layers),
    )


def layer_meshes(layers: Sequence[Layer], cut: Sequence[LayerCut]) -> tuple[NamedMesh, ...]:
    """Return the meshes of layers where they lie in the plug, in the order of stacking.

    Parameters
    ----------
    layers : sequence of Layer
    cut : sequence of LayerCut
        Of each; one in which there is nothing to look at has no mesh.
    """
    return tuple(
        NamedMesh(
            name=layer.name,
            vertices=part.points,
            triangles=part.triangles.astype(np.int64),
            colour=FOAM_COLOURS[i % len(FOAM_COLOURS)],
        )
        for i, (layer, part) in enumerate(zip(layers, cut, strict=True))
        if len(part.triangles)
    )


def _named(name: str, body: Body, colour: str) -> NamedMesh:
    """Return a body as a mesh with a name."""
    vertices, triangles = mesh.triangles_of(body)
    return NamedMesh(name=name, vertices=vertices, triangles=triangles, colour=colour)


def changed_job(work: Worked, points: Array, facing: Array, off: Array) -> ChangedJob:
    """Return what the picture of a surface that has moved is made of.

    Parameters
    ----------
    work : Worked
    points, facing : (k, 3) float, mm and dimensionless
        All over the foam, and which way it faces there.
    off : (k,) float, mm
        How far each has moved.

    Returns
    -------
    ChangedJob
    """
    from plugs.pictures.changed import ChangedJob

    return ChangedJob(
        shown=_named("foam", refined(with_fewer_faces(work.body.body, _PICTURED), _SMALL), FOAM_COLOURS[0]),
        points=points,
        facing=facing,
        off=off,
        apart=float(np.sqrt(work.body.by_mesh.area_mm2 / len(points))),
        display_unit=work.plug.display_unit,
    )


def draft_job(work: Worked) -> DraftJob | None:
    """Return what the picture of the draft is made of; None without a mould.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    DraftJob or None
    """
    if work.taken is None:
        return None
    from plugs.mould.colours import PALETTE, colours_of, ends_of
    from plugs.pictures.draft import DraftJob

    parted = work.taken.parted
    surface = parted.surface
    return DraftJob(
        shown=NamedMesh(
            name="mould", vertices=surface.vertices, triangles=surface.triangles, colour=_FINISHED
        ),
        tints=colours_of(parted, work.taken.drafts),
        palette=PALETTE,
        key=(ends_of(parted.mould.draft_deg), "no mould"),
        title=f"{work.plug.name}: draft from the pull of each part; less than 0 locks, hidden is behind "
        "another face",
    )


def plug_pictures(work: Worked) -> PictureJob:
    """Return what is pictured of a plug: views of it, and its layers.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    PictureJob
    """
    from plugs.pictures.views import PictureJob

    with_skin = work.skin_proof is not None
    layers, surfaces = work.layers, work.layers_seen.surfaces
    whole = work.finished if with_skin else work.body.by_mesh
    step = every(layers)
    size = whole.upper - whole.lower
    return PictureJob(
        shown=_lined(
            _pictured("plug", work.looks.outside, _FINISHED if with_skin else _LAYERS[0]),
            [(one.finish_line, one.scribe.frame[:, 2]) for one in work.scribed],
        ),
        layers=tuple(
            _pictured(layers[i].name, surfaces[i], _LAYERS[i % len(_LAYERS)])
            for i in range(0, len(layers), step)
        ),
        thicknesses=tuple(layer.thickness for layer in layers)[::step],
        every=step,
        axis=work.plug.stack.axis,
        display_unit=work.plug.display_unit,
        title=work.plug.name,
        size=(float(size[0]), float(size[1]), float(size[2])),
    )


def _lined(one: NamedMesh, lines: Sequence[tuple[Array, Array]]) -> NamedMesh:
    """Return a mesh with closed lines on it, each with which way it faces: ribbons that catch no light."""
    if not lines or one.normals is None:
        return one
    half = _LINE_SHARE * float(np.ptp(one.vertices, axis=0).max())
    points, triangles, normals, begin = [one.vertices], [one.triangles], [one.normals], len(one.vertices)
    for line, outward in lines:
        along = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
        aside = np.cross(outward, along)
        aside *= half / np.maximum(np.linalg.norm(aside, axis=1, keepdims=True), 1e-9)
        lifted, count = line + half * outward, len(line)
        here = begin + np.arange(count)
        ahead = np.roll(here, -1)
        points += [lifted - aside, lifted + aside]
        triangles += [
            np.stack([here, ahead, ahead + count], axis=1),
            np.stack([here, ahead + count, here + count], axis=1),
        ]
        normals.append(np.tile(-outward, (2 * count, 1)))
        begin += 2 * count
    return replace(
        one,
        vertices=np.concatenate(points),
        triangles=np.concatenate(triangles),
        normals=np.concatenate(normals),
    )


def _pictured(name: str, surface: Shaded, colour: str) -> NamedMesh:
    """Return a surface as it is pictured."""
    return NamedMesh(
        name=name, vertices=surface.vertices, triangles=surface.triangles, colour=colour,
        normals=surface.normals,
    )  # fmt: skip


def drawing_pictures(work: Worked, seen: Mapping[str, Drawing]) -> PictureJob:
    """Return which drawings are pictured.

    Parameters
    ----------
    work : Worked
    seen : mapping of str to Drawing
        By path in the folder, without ending.

    Returns
    -------
    PictureJob
    """
    from plugs.pictures.views import PictureJob

    drawings = {Path(stem).name: drawing for stem, drawing in seen.items() if is_pictured(stem)}
    captions = {name: drawing.title for name, drawing in drawings.items()}
    return PictureJob(drawings=drawings, captions=captions, display_unit=work.plug.display_unit)


def scene_file(work: Worked) -> dict[str, bytes]:
    """Return all bodies in one file.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to bytes
        By path in the folder.
    """
    from plugs.files.glb import glb_bytes

    return {"solid/plug.glb": glb_bytes(plug_meshes(work).meshes)}


def stl_files(work: Worked) -> dict[str, bytes]:
    """Return foam and finished surface as triangles.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to bytes
        By path in the folder.
    """
    from plugs.files.solids import stl_bytes

    return _solids(work, "stl", stl_bytes)


def threemf_files(work: Worked) -> dict[str, bytes]:
    """Return foam and finished surface as triangles in 3MF.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to bytes
        By path in the folder.
    """
    from plugs.files.solids import threemf_bytes

    return _solids(work, "3mf", threemf_bytes)


def _solids(work: Worked, ending: str, packed: Callable[..., bytes]) -> dict[str, bytes]:
    """Return foam and finished surface as files of triangles."""
    work.say("solid")
    name = work.plug.name
    bodies = {"foam": (work.body, f"{name}, foam")}
    if work.skin_proof is not None:
        bodies["finish"] = work.finish, f"{name}, finished surface"
    return {
        f"solid/{word}.{ending}": packed(*mesh.triangles_of(solid.body), name=told)
        for word, (solid, told) in bodies.items()
    }


def book_scene(work: Worked) -> BookScene:
    """Return what the book shows in three dimensions.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    BookScene
    """
    from plugs.book.scene import joinings, make_book_scene, with_hard_points, with_mould, with_trims
    from plugs.book.wire import wire_ways

    scene = make_book_scene(work.looks, work.layers, work.layers_seen, work.templates, work.scribed)
    joined, base = joinings(work.pins.joints), work.base if work.templates else None
    scene = replace(with_trims(scene, work.trims), ways=wire_ways(work.wire), joined=joined, base=base)
    scene = with_hard_points(scene, work.hard_points)
    return scene if work.taken is None else with_mould(scene, work.taken)


SOLIDS: Final = {"glb": scene_file, "stl": stl_files, "3mf": threemf_files}
"""What gives the files of solids, by their kind."""


_MOST_BESIDE: Final = 100
"""Faces of layers: where there are more, another process that holds as much takes too much memory."""


def begin_beside(work: Worked, outputs: Sequence[Output], crew: Crew | None) -> AbstractContextManager[None]:
    """Have other processes make a part of a build, while this one makes the rest.

    Parameters
    ----------
    work : Worked
    outputs : sequence of Output
        What is asked for.
    crew : Crew or None
        As for `plugs.stages.beside.made_beside`.

    Returns
    -------
    context manager
        After which nothing of it is made by others.
    """
    kinds = {output.kind for output in outputs}
    cloth = any("cloth" in output.shows for output in outputs)
    is_drawn = not kinds.isdisjoint((*DRAWN, "html"))
    return made_beside(
        work,
        crew,
        replace(CLOTH, draw=OF_CLOTH) if cloth else None,
        _parts_of_finish(work, kinds) if is_drawn and len(work.faces.places) <= _MOST_BESIDE else (),
    )


def _parts_of_finish(work: Worked, kinds: Collection[str]) -> tuple[Part, ...]:
    """Return what follows from the finished part, the earlier the longer others are at it afterwards."""
    pictured = Part(stages=("skin_proof", "finished"), draw={plug_pictures.__name__: plug_pictures})
    solids = [{kind: make} for kind, make in SOLIDS.items() if kind in kinds]
    shown = {book_scene.__name__: book_scene} if "html" in kinds and work.plug.wire is None else {}
    return (
        *((pictured,) if "png" in kinds else ()),
        Part(
            stages=("gauges", "sanding", "base"),
            draw={make.__name__: make for make in (template_drawings, edge_drawings)},
        ),
        Part(stages=("boards",), draw={}),
        Part(stages=("skin_proof", "finished", "seats", "fit_list"), draw={}),
        Part(stages=(), draw=shown),
        *(Part(stages=(), draw=one) for one in solids),
    )
