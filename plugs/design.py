"""From a recipe to a worked-out plug: checked words, foam and finished surface, body, layers, findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from plugs.errors import Finding, PlugError
from plugs.findings import find, line_findings
from plugs.foam.gauges import make_gauges
from plugs.foam.layers import Layer, likely_faces, make_layers
from plugs.foam.pockets import Pockets, make_features, make_pockets
from plugs.foam.template_bays import (
    FoamBay,
    bay_faces,
    bay_layers,
    foam_bays,
    lengthwise_room,
    without_plates,
)
from plugs.foam.template_words import checked_templates, station_spans
from plugs.foam.templates import Template, make_templates
from plugs.parts import Parts, make_parts, nested, stored_sheets
from plugs.reading import Recipe, load_recipe, run_recipe
from plugs.recipe import Plug, checked_plug
from plugs.shape.body import Shape, Solid, body_before, make_solid, make_tools
from plugs.shape.checks import checked_loft
from plugs.shape.mating import MatingCut, make_cut
from plugs.shape.mating_body import BodyCut, MatingBody, make_body_cut
from plugs.shape.mesh import Body
from plugs.shape.recess import LAYERS, Tool
from plugs.shape.skin import Cover, make_cover
from plugs.shape.skin_offset import foam_loft
from plugs.shape.skin_proof import SkinProof, prove_cover, skin_steps
from plugs.shape.stations import Loft
from plugs.shape.tool_proof import prove_tools

if TYPE_CHECKING:
    from plugs.lamination import Lamination
    from plugs.shape.kernel_worker import KernelRun
    from plugs.shape.step_in import StepBody, StepRequest
    from plugs.skin.layup import Layup

Array = NDArray[np.float64]
Say = Callable[[str], None]
OpenKernel = Callable[[], "KernelRun"]

_KERNEL_SECONDS = 120.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design:
    """A recipe, run and checked: everything is decided, nothing heavy has been made.

    Attributes
    ----------
    recipe : Recipe
    parameters : mapping of str to object
    plug : Plug
    finish, loft : Loft
        Of the finished surface, and of the foam under it; one and the same without a skin.
    cover : Cover
    finish_tools, tools : tuple of Tool
        Recesses and bosses in either.
    shapes : tuple of Shape
    mating : tuple of MatingCut or BodyCut
    stored : object
        Sheets found by a search, as they were stored; None where there are none.
    layup : Layup or None
        The schedule over the places of the plug.
    """

    recipe: Recipe
    parameters: Mapping[str, object]
    plug: Plug
    finish: Loft
    loft: Loft
    cover: Cover
    finish_tools: tuple[Tool, ...]
    tools: tuple[Tool, ...]
    shapes: tuple[Shape, ...]
    mating: tuple[MatingCut | BodyCut, ...]
    stored: object
    layup: Layup | None

    @property
    def is_exact(self) -> bool:
        """Whether every cut can be made in exact surfaces, so that the kernel can make the whole body."""
        return all(cut.brep for cut in self.mating if isinstance(cut, BodyCut))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Work:
    """A design worked out: body, layers, findings.

    Attributes
    ----------
    design : Design
    solid : Solid
        The foam.
    finish : Solid
        The finished part, which is the foam itself without a skin.
    skin_proof : SkinProof or None
    layers : tuple of Layer
    parts : Parts
        Everything that is cut.
    lamination : Lamination or None
        Everything that is laid up, where the recipe has a schedule.
    findings : tuple of Finding
    """

    design: Design
    solid: Solid
    finish: Solid
    skin_proof: SkinProof | None
    layers: tuple[Layer, ...]
    parts: Parts
    lamination: Lamination | None
    findings: tuple[Finding, ...]


def make_design(path: Path, overrides: Mapping[str, object], open_kernel: OpenKernel | None = None) -> Design:
    """Return a recipe, run and checked.

    Parameters
    ----------
    path : Path
        The recipe.
    overrides : mapping of str to object
        Parameters that differ from their defaults; text as on the command line.
    open_kernel : callable or None
        Gives the kernel, should a STEP file have to be read; without it one is started for that alone.

    Returns
    -------
    Design

    Raises
    ------
    PlugError
        Anything wrong with the recipe, with its place.
    """
    recipe = load_recipe(path)
    made = run_recipe(recipe, overrides)
    try:
        plug = checked_plug(made.result, recipe.name)
        finish = checked_loft(plug.plan())
        layup = None
        if plug.schedule is not None:
            from plugs.lamination import layup_for, skin_by

            layup = layup_for(plug, plug.schedule, finish, _tool_names(plug))
            plug = replace(plug, skin=skin_by(plug, layup, finish))
        cover = make_cover(finish, plug.skin)
        finish_tools = _tools(finish, plug, None)
        is_bare = cover.is_nothing
        loft = foam_loft(finish, cover)
        tools = finish_tools if is_bare else _tools(finish, plug, cover)
        shapes = _shapes(plug)
        mating = _mating(plug, *_box(finish), open_kernel)
    except PlugError as error:
        raise _in_recipe(error, path) from error
    return Design(
        recipe=recipe,
        parameters=made.parameters,
        plug=plug,
        finish=finish,
        loft=loft,
        cover=cover,
        finish_tools=tuple(finish_tools),
        tools=tuple(tools),
        shapes=tuple(shapes),
        mating=tuple(mating),
        stored=stored_sheets(path),
        layup=layup,
    )


def _box(loft: Loft) -> tuple[Array, Array]:
    """Return the corners of a box round a section solid, from its corners at the stations and between."""
    t = np.unique(np.concatenate([np.linspace(loft.breaks[0], loft.breaks[-1], 65), loft.breaks]))
    at = loft.sections(t)
    count = at.rings.points.shape[1]
    points = at.place(np.repeat(np.arange(count), 2), np.tile([0.0, 0.5], count)).reshape(-1, 3)
    return points.min(axis=0), points.max(axis=0)


def _shapes(plug: Plug) -> list[Shape]:
    """Return the recipe's own shapes; the kernel is loaded if there are any, by the recipe at the latest."""
    if not plug.added and not plug.cut:
        return []
    from plugs.shape.own_shape import make_shape

    kinds = (("added", "add", plug.added), ("cut", "cut", plug.cut))
    return [
        make_shape(item, f"{word}[{i}]", kind, plug.chord_tolerance)
        for word, kind, items in kinds
        for i, item in enumerate(items)
    ]


def _mating(
    plug: Plug, lower: Array, upper: Array, open_kernel: OpenKernel | None
) -> list[MatingCut | BodyCut]:
    """Return the mating cuts of a plug within a box."""

    def read_step(request: StepRequest) -> StepBody:
        if open_kernel is not None:
            return open_kernel().step_body(request, _KERNEL_SECONDS)
        from plugs.shape.kernel_worker import start_kernel

        with start_kernel() as run:
            return run.step_body(request, _KERNEL_SECONDS)

    cuts: list[MatingCut | BodyCut] = []
    for i, item in enumerate(plug.mating):
        param = f"mating[{i}]"
        if isinstance(item, MatingBody):
            cuts.append(make_body_cut(item, param, lower, upper, plug.chord_tolerance, read_step))
        else:
            cuts.append(make_cut(item, param, lower, upper))
    return cuts


def _tools(finish: Loft, plug: Plug, cover: Cover | None) -> list[Tool]:
    """Return bosses and recesses as they are in the finished surface, or under a cover."""
    bosses = make_tools(finish, plug.bosses, "bosses", cover)
    return bosses + make_tools(finish, plug.recesses, "recesses", cover)


def work_out(design: Design, say: Say) -> Work:
    """Return a design worked out: body, skin, layers, everything that is cut, and findings.

    Parameters
    ----------
    design : Design
    say : callable
        Told what is being done.

    Returns
    -------
    Work
    """
    return completed(cut_out(design, say), say)


def cut_out(design: Design, say: Say) -> Work:
    """Return what can be drawn of a design: its body, its layers and everything that is cut, not yet nested.

    Parameters
    ----------
    design : Design
    say : callable
        Told what is being done.

    Returns
    -------
    Work
        Without sheets and findings, but for those of the foam; without finished surface unless gauges
        are cut to it.

    Raises
    ------
    PlugError
        Tools that meet or break through, a stack that does not cover the plug.
    """
    plug = design.plug
    try:
        say("body")
        box = _box(design.loft)
        bays, _ = _bays(plug, *box)
        faces = bay_faces(bays) if bays else likely_faces(plug.stack, *box)
        solid = make_solid(
            design.loft, design.tools, design.shapes, plug.chord_tolerance, design.mating, faces
        )
        is_gauged = plug.templates is not None and not plug.stack.between_templates
        finish = _finish(design, solid, say) if is_gauged else solid
        say("layers")
        foam, layers, templates, pockets, found = _cut_up(design, solid, finish)
        say("parts")
        parts, more = make_parts(
            plug, pockets, design.loft, design.tools, design.finish_tools, solid.body, foam, layers, templates
        )
    except PlugError as error:
        raise _in_recipe(error, design.recipe.path) from error
    return Work(
        design=design,
        solid=solid,
        finish=finish,
        skin_proof=None,
        layers=layers,
        parts=parts,
        lamination=None,
        findings=found + more,
    )


def completed(work: Work, say: Say) -> Work:
    """Return a work with its finished surface, its sheets and all findings.

    Parameters
    ----------
    work : Work
        As from `cut_out`.
    say : callable
        Told what is being done.

    Returns
    -------
    Work

    Raises
    ------
    PlugError
        A piece that fits no sheet, or too few sheets.
    """
    design = work.design
    plug = design.plug
    finish, skin_proof = work.finish, None
    try:
        if not design.cover.is_nothing:
            finish = _finish(design, work.solid, say) if work.finish is work.solid else work.finish
            skin_proof = replace(
                prove_cover(design.finish, design.loft, design.cover),
                tools=prove_tools(finish, work.solid),
                steps=skin_steps(design.finish, design.cover),
            )
        say("sheets")
        parts, more = nested(plug, work.layers, work.parts, design.stored)
        lamination = None
        if design.layup is not None:
            from plugs.lamination import laminate

            say("cloth")
            lamination, others = laminate(
                plug,
                design.layup,
                design.finish,
                design.loft,
                design.cover,
                design.tools,
                work.solid,
                design.mating,
                parts,
            )
            more += others
    except PlugError as error:
        raise _in_recipe(error, design.recipe.path) from error
    lines = tuple(line_findings(plug, design.finish))
    findings = find(plug, work.solid, lines + work.findings + more, skin_proof)
    return replace(
        work, finish=finish, skin_proof=skin_proof, parts=parts, lamination=lamination, findings=findings
    )


def _finish(design: Design, solid: Solid, say: Say) -> Solid:
    """Return the finished part, which is the foam itself without a skin."""
    if design.cover.is_nothing:
        return solid
    say("skin")
    return make_solid(
        design.finish,
        design.finish_tools,
        design.shapes,
        design.plug.chord_tolerance,
        design.mating,
        wants_faces=False,  # those of the foam are what is cut
    )


def _tool_names(plug: Plug) -> list[str]:
    """Return the names of recesses and bosses, as their tools will bear them."""
    return [boss.known_as for boss in plug.bosses] + [recess.known_as for recess in plug.recesses]


def _bays(plug: Plug, lower: Array, upper: Array) -> tuple[tuple[FoamBay, ...], tuple[Finding, ...]]:
    """Return the bays of foam between station templates, none where these do not stand in the stack."""
    if plug.templates is None or not plug.stack.between_templates:
        return (), ()
    low, high = float(lower[0]), float(upper[0])
    stations = [station.x for station in plug.stations]
    spans, found = station_spans(checked_templates(plug.templates), stations, low, high)
    return foam_bays(spans, plug.stack.thicknesses, low, high), found


def _cut_up(
    design: Design, solid: Solid, finish: Solid
) -> tuple[Body, tuple[Layer, ...], tuple[Template, ...], Pockets, tuple[Finding, ...]]:
    """Return the foam of a body, its layers, templates and recesses, and what is doubtful about them."""
    plug, mating = design.plug, design.mating
    stations = [station.x for station in plug.stations]
    bays, _ = _bays(plug, np.array(solid.by_mesh.lower), np.array(solid.by_mesh.upper))
    foam, allowance = solid.body, plug.stack.allowance
    if bays and plug.templates is not None:
        templates, found = make_templates(foam, plug.templates, stations)
        foam = without_plates(foam, templates)
        layers, more = bay_layers(foam, bays, templates, allowance)
        pockets, layers = make_pockets(
            solid, mating, layers, allowance, lengthwise_room(foam, templates, allowance)
        )
        features = make_features(solid, design.finish_tools, layers)
        return foam, layers, templates, Pockets(pockets=pockets, features=features), found + more
    layers, found = make_layers(foam, plug.stack)
    pockets, layers = make_pockets(solid, mating, layers, allowance)
    every = Pockets(pockets=pockets, features=make_features(solid, design.finish_tools, layers))
    if plug.templates is None:
        return foam, layers, (), every, found
    later = [pocket.param for pocket in pockets if pocket.method != LAYERS]  # cut after sanding
    sanded = [
        body_before(one, mating, later) if later else one.body
        for one in ((solid,) if finish is solid else (solid, finish))
    ]
    other = None if finish is solid else sanded[1]
    templates, more = make_gauges(sanded[0], other, plug.templates, stations)
    return foam, layers, templates, every, more + found


def _in_recipe(error: PlugError, path: Path) -> PlugError:
    """Return an error with the recipe's name before its place."""
    where = f"{path.name}, {error.where}" if error.where else path.name
    return PlugError(
        param=error.param,
        value=error.value,
        reason=error.reason,
        remedy=error.remedy,
        where=where,
        would_do=error.would_do,
    )
