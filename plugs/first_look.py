"""A first look at a plug while its recipe is edited: foam and layers at once, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from functools import cache
from pathlib import Path

from plugs.build import Built, OpenKernel
from plugs.design import Say, cut_out, make_design
from plugs.drawings import layer_drawings
from plugs.output.drawing_worker import render_files
from plugs.output.folder import SUMMARY, FreshFolder
from plugs.output.solids import stl_bytes
from plugs.shape import mesh
from plugs.summary import summarise


def first_look(
    path: Path,
    overrides: Mapping[str, object],
    *,
    out: Path,
    kinds: Sequence[str],
    say: Say,
    open_kernel: OpenKernel,
) -> Built:
    """Build the foam and its layers alone, all in this process, where libraries stay loaded.

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

    Returns
    -------
    Built
    """
    say("recipe")
    with ExitStack() as after:
        design = make_design(path, overrides, cache(lambda: after.enter_context(open_kernel())))
        plug = design.plug
        if plug.templates is not None and not plug.stack.between_templates:
            design = replace(design, plug=replace(plug, templates=None))
        fresh = after.enter_context(FreshFolder(out))
        work = cut_out(design, say)
        say("drawings")
        files = render_files(layer_drawings(work), kinds)
        if "stl" in kinds:
            files["solid/foam.stl"] = stl_bytes(
                *mesh.triangles_of(work.solid.body), name=f"{plug.name}, foam"
            )
        files[SUMMARY] = json.dumps(summarise(work, files, None), indent=2, ensure_ascii=False).encode()
        say("files")
        fresh.write(files)
        fresh.swap_in()
    return Built(work=work, folder=out, summary=json.loads(files[SUMMARY]))
