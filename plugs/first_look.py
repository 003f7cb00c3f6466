"""A first look at a plug while its recipe is edited: foam and layers at once, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Final

from plugs.changes.changes import since_cut
from plugs.changes.record import FILE, packed
from plugs.changes.recording import record_of
from plugs.drawings import layer_drawings
from plugs.files.drawing_run import render_files
from plugs.files.folder import SUMMARY, FreshFolder
from plugs.files.solids import stl_bytes
from plugs.findings import found
from plugs.mesh import mesh
from plugs.stages.shelf import Shelf
from plugs.stages.stage import Say
from plugs.summary.summary import Made, summarise
from plugs.work import opened
from plugs.writing import Built, OpenKernel

STAGES: Final = frozenset(("lines", "body", "layers", "pieces", "pins"))
"""Stages that a first look shows."""


def first_look(
    path: Path,
    overrides: Mapping[str, object],
    *,
    out: Path,
    kinds: Sequence[str],
    say: Say,
    open_kernel: OpenKernel,
    shelf: Shelf | None = None,
) -> Built:
    """Write the foam and its layers alone, all in this process, where libraries stay loaded.

    Parameters
    ----------
    path : Path
        The recipe.
    overrides : mapping of str to object
    out : Path
        The folder.
    kinds : sequence of str
        Of "stl", "dxf" and "svg"; others are passed over.
    say : callable
        Told what is being done.
    open_kernel : callable
        Gives the kernel, should the recipe's own shapes or a STEP file want it.
    shelf : Shelf or None
        Where stages of the build before are found.

    Returns
    -------
    Built
    """
    say("recipe")
    with ExitStack() as after:
        kernel = cache(lambda: after.enter_context(open_kernel()))
        work = opened(path, overrides, say=say, open_kernel=kernel, shelf=shelf)
        _ = work.lines, work.cutters  # what is wrong with a recipe is told before a folder is begun
        fresh = after.enter_context(FreshFolder(out))
        drawings = work.again(layer_drawings.__name__, layer_drawings)
        say("drawings")
        files = render_files(drawings, kinds)
        if "stl" in kinds:
            triangles = mesh.triangles_of(work.body.body)
            files["solid/foam.stl"] = stl_bytes(*triangles, name=f"{work.plug.name}, foam")
        made = Made(files=files, stages=STAGES, findings=found(work, STAGES), proof=None)
        record = record_of(work, STAGES, made.findings)
        files[FILE] = packed(record)
        made = replace(made, changes=since_cut(work.cut, record, wants_surface=False))
        summary = summarise(work, made)
        files[SUMMARY] = json.dumps(summary, indent=2, ensure_ascii=False).encode()
        say("files")
        fresh.write(files)
        fresh.swap_in()
    return Built(
        work=work,
        folder=out,
        stages=STAGES,
        findings=made.findings,
        summary=summary,
        changes=made.changes,
    )
