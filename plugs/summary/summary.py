"""summary.json: every figure of a build, with its unit in its name; the contract that other programs read."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, Final

from plugs.changes.recording import plain
from plugs.files.drawing_run import Rendered
from plugs.files.written import FileList
from plugs.ground.errors import Finding
from plugs.ground.figures import told
from plugs.ground.paper import ROLL, paper_of
from plugs.ground.records import record
from plugs.stages.minding import cautions_of
from plugs.stages.worked import Worked
from plugs.summary import foam, sanding, solid, wire
from plugs.summary.changes import changes_figures
from plugs.summary.fit import fit_table

if TYPE_CHECKING:
    from plugs.changes.changes import Changes
    from plugs.kernel.job import KernelProof
    from plugs.pictures.views import Picture


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Made:
    """What was made of a work, and for which stages.

    Attributes
    ----------
    files : FileList
    stages : frozenset of str
        That were asked for; of others the summary says nothing.
    findings : tuple of Finding
        On these.
    proof : KernelProof or None
        The kernel's answer, if it ran.
    rendered : Rendered or None
        What the drawings became.
    pictures : tuple of Picture
    changes : Changes or None
        Since foam was cut.
    """

    files: FileList
    stages: frozenset[str]
    findings: tuple[Finding, ...]
    proof: KernelProof | None
    rendered: Rendered | None = None
    pictures: tuple[Picture, ...] = ()
    changes: Changes | None = None


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Built:
    """What a build wrote.

    Attributes
    ----------
    work : Worked
    folder : Path
    stages : frozenset of str
        That were asked for.
    findings : tuple of Finding
    summary : mapping
        As in summary.json.
    changes : Changes or None
        Since foam was cut; None where no build is marked.
    """

    work: Worked
    folder: Path
    stages: frozenset[str]
    findings: tuple[Finding, ...]
    summary: Mapping[str, Any]
    changes: Changes | None = None


def built_of(work: Worked, folder: Path, made: Made, summary: Mapping[str, Any]) -> Built:
    """Return what a build wrote.

    Parameters
    ----------
    work : Worked
    folder : Path
    made : Made
    summary : mapping of str to object

    Returns
    -------
    Built
    """
    return Built(
        work=work,
        folder=folder,
        stages=made.stages,
        findings=made.findings,
        summary=summary,
        changes=made.changes,
    )


def summarise(work: Worked, made: Made) -> dict[str, Any]:
    """Return the contents of summary.json: lengths in mm, areas in m2, volumes in m3.

    Parameters
    ----------
    work : Worked
    made : Made

    Returns
    -------
    dict
        Figures rounded to 9 significant digits; None for what was not asked for.
    """
    recipe = work.recipe
    return {
        "recipe": {
            "name": work.plug.name if recipe is None else recipe.name,
            "title": work.plug.name,
            "file": None if recipe is None else recipe.path.name,
            "changed": []
            if recipe is None
            else [name for name, value in work.parameters.items() if value != recipe.parameters[name]],
            "sha256": None if recipe is None else recipe.sha256,
        },
        "display_unit": work.plug.display_unit,
        "changes": told(changes_figures(made.changes)),
        "parameters": {name: plain(value) for name, value in work.parameters.items()},
        **{
            key: told(say(work, made), key) if stage in made.stages else None
            for key, stage, say in _SECTIONS
            if key != "mould" or work.plug.mould is not None
        },
        **_openings(work, made),
        **_hard_points(work, made),
        **_seats(work, made),
        "paper": _paper_summary(work, made.rendered),
        "findings": [
            {
                "code": f.code,
                "severity": f.severity,
                "stage": f.stage,
                "where": f.where,
                "message": f.message,
                "remedy": f.remedy,
            }
            for f in made.findings
        ],
        "files": file_rows(made.files),
    }


def file_rows(files: FileList) -> list[dict[str, Any]]:
    """Return what summary.json says of files.

    Parameters
    ----------
    files : FileList

    Returns
    -------
    list of dict
        In the order of their paths.
    """
    return [{"path": path, "bytes": one.size, "sha256": one.sha256} for path, one in sorted(files.items())]


def _paper_summary(work: Worked, rendered: Rendered | None) -> dict[str, Any] | None:
    """Return what the full-size paper holds, or None where it was not made."""
    if rendered is None or not rendered.papers:
        return None
    return {
        "name": paper_of(work.plug.paper).name,
        "pages": sum(one.n_pages for one in rendered.papers),
        "roll_mm": ROLL,
        "roll_length_mm": math.ceil(sum(one.roll for one in rendered.papers)),
        "files": [
            {
                "file": one.path,
                "pages": one.n_pages,
                "roll_length_mm": math.ceil(one.roll),
                "drawings": [
                    {"file": Path(drawn.stem).name, "pages": drawn.pages, "is_turned": drawn.is_turned}
                    for drawn in one.drawings
                ],
            }
            for one in rendered.papers
        ],
    }


def _hard_points(work: Worked, made: Made) -> dict[str, Any]:
    """Return the hard points; no word of them where the recipe has none."""
    if not work.plug.hard_points or "layers" not in made.stages:
        return {}
    return {"hard_points": told(sanding.hard_point_figures(work.hard_points), "hard_points")}


def _openings(work: Worked, made: Made) -> dict[str, Any]:
    """Return the openings in the laminate; no word of them where the recipe has none."""
    if not work.plug.openings or "body" not in made.stages:
        return {}
    from plugs.summary.openings import openings

    return {"openings": told(openings(work, made.files), "openings")}


def _seats(work: Worked, made: Made) -> dict[str, Any]:
    """Return where plates lie; no word of that where the recipe has none."""
    if "finish" not in made.stages or not any(tool.held for tool in work.lines.finish_tools):
        return {}
    return {"seats": told(sanding.seat_figures(work.seats), "seats")}


def _cautions(work: Worked, _: Made) -> list[dict[str, str]]:
    """Return the cautions."""
    return [{"about": one.about, "text": one.text} for one in cautions_of(work.plug, work.layup, work.skin)]


def _mould(work: Worked, made: Made) -> dict[str, Any] | None:
    """Return the mould."""
    from plugs.summary import mould

    return mould.mould(work, made.files)


def _laid(say: Callable[[ModuleType, Worked, Made], Any]) -> Callable[[Worked, Made], Any]:
    """Return what tells of the laminate, of which nothing is loaded before it is told of."""

    def told_of(work: Worked, made: Made) -> Any:
        from plugs.summary import laminate

        return say(laminate, work, made)

    return told_of


_SECTIONS: Final[tuple[tuple[str, str, Callable[[Worked, Made], Any]], ...]] = (
    ("solid", "body", lambda work, made: solid.solid(work, made.proof)),
    ("skin", "finish", lambda work, _: solid.skin(work)),
    ("schedule", "cloth", _laid(lambda laid, work, _: laid.schedule(work))),
    ("cloth", "cloth", _laid(lambda laid, work, made: laid.cloth(work, made.files))),
    ("resin", "resin", _laid(lambda laid, work, _: laid.resin(work.layup, work.resin))),
    ("part", "part", _laid(lambda laid, work, _: laid.part(work.part, work.sags))),
    ("shopping", "shopping", _laid(lambda laid, work, _: laid.shopping(work.shopping))),
    ("cost", "shopping", _laid(lambda laid, work, _: laid.cost(work.shopping))),
    ("cautions", "lines", _cautions),
    ("measured", "lines", lambda work, made: solid.measured(work, made.files)),
    ("mating", "body", lambda work, made: solid.mating(work, made.files)),
    ("edges", "cloth", lambda work, made: solid.edges(work, made.files)),
    ("layers", "layers", lambda work, made: foam.layers(work, made.files)),
    ("pieces", "pieces", lambda work, _: [foam.PIECES.told(piece) for piece in work.pieces.pieces]),
    ("joints", "pieces", lambda work, _: foam.joints(work)),
    ("hollows", "pieces", lambda work, _: foam.voids(work)),
    ("sheets", "sheets", lambda work, made: foam.sheets(work, made.files)),
    ("glue", "pins", lambda work, _: foam.glue(work)),
    ("pins", "pins", lambda work, _: foam.pins(work)),
    ("templates", "templates", lambda work, made: foam.templates(work, made.files)),
    ("boards", "templates", lambda work, made: foam.boards(work, made.files)),
    ("wire", "wire", lambda work, made: wire.wire_figures(work.wire, made.files)),
    ("router", "sheets", lambda work, made: wire.router_figures(work.routed, made.files)),
    ("bow", "wire", lambda work, made: wire.bow_figures(work.by_hand, work.bow_boards, made.files)),
    ("sanding", "sanding", lambda work, _: sanding.sanding_figures(work.sanding)),
    ("fit_list", "sanding", lambda work, _: list(map(fit_table("mm").told, work.fit_list))),
    ("pocket_patterns", "layers", lambda work, _: sanding.recess_figures(work.kits)),
    ("mould", "mould", _mould),
    ("features", "layers", lambda work, _: sanding.feature_figures(work.features)),
)
"""Sections of the summary: the key, the stage that it speaks of, what is said."""
