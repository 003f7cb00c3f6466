"""The work on a plug: stages that are made when they are asked for, and kept.

work = plugs.load("recipes/sidecar_tail.py", width=1150)
work.body.volume_m3, work.layers[3].rough, work.findings
work.write("exports/tail", kinds=("dxf", "pdf"))
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from plugs.changes.kept import kept_record
from plugs.files.written import FileList
from plugs.ground.errors import Finding, PlugError
from plugs.nesting.stored import stored_sheets
from plugs.recipe.parameters import by_parameter
from plugs.recipe.plug import Plug, checked_plug
from plugs.recipe.reading import load_recipe, run_recipe
from plugs.stages.shelf import Shelf
from plugs.stages.stage import in_recipe
from plugs.stages.worked import Worked
from plugs.words.ways import told_by

_SHELF: Final = Shelf()
"""What the last work of this process came to, for the next one."""


class Work(Worked):
    """A plug, worked out as far as it is asked, and what can be told and written of it."""

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything that is doubtful, errors first, with lengths in the recipe's unit."""
        return self.found()

    def found(self, stages: Collection[str] | None = None) -> tuple[Finding, ...]:
        """Return what is doubtful about some stages.

        Parameters
        ----------
        stages : collection of str or None
            Such as "body" and "layers"; None for all.

        Returns
        -------
        tuple of Finding
            Errors first, with lengths in the recipe's unit.
        """
        from plugs.findings import found

        return found(self, stages)

    @property
    def summary(self) -> dict[str, Any]:
        """Every figure of the plug, as in summary.json but for the files."""
        from plugs.ground.doors import STAGES
        from plugs.summary.summary import Made, summarise

        made = Made(files=FileList(), proof=None, stages=frozenset(STAGES), findings=self.findings)
        with told_by(self.plug.sides):
            return summarise(self, made)

    def _repr_png_(self) -> bytes:
        """Return a picture of the foam, which a notebook shows in place of the work."""
        from plugs.mesh import mesh
        from plugs.mesh.named import NamedMesh
        from plugs.pictures.views import view_png

        vertices, triangles = mesh.triangles_of(self.body.body)
        shown = NamedMesh(name=self.plug.name, vertices=vertices, triangles=triangles, colour="#d8c9a6")
        return view_png(shown, display_unit=self.plug.display_unit)

    def write(self, folder: str | Path, kinds: Sequence[str] | None = None) -> Path:
        """Write a folder of files, whole or not at all.

        Parameters
        ----------
        folder : str or Path
        kinds : sequence of str or None
            Of file, such as "dxf" and "pdf"; None for all.

        Returns
        -------
        Path
            The folder.

        Raises
        ------
        PlugError
            Something cannot be built, or the folder cannot be written.
        """
        from plugs.writing import write

        return write(self, Path(folder), kinds).folder


def load(path: str | Path, **parameters: object) -> Work:
    """Return the work on a recipe: it is read, run and checked, and nothing heavy has been made.

    Parameters
    ----------
    path : str or Path
    parameters : object
        Values that differ from the recipe's own, by name.

    Returns
    -------
    Work

    Raises
    ------
    PlugError
        Anything wrong with the recipe, with its place.
    """
    return opened(Path(path), parameters, shelf=_SHELF)


def opened(path: Path, parameters: Mapping[str, object], **words: Any) -> Work:
    """Return the work on a recipe, as a command asks for it.

    Parameters
    ----------
    path : Path
    parameters : mapping of str to object
    words : object
        As for `Work`: ``say``, ``open_kernel``, ``shelf``.

    Returns
    -------
    Work

    Raises
    ------
    PlugError
        Anything wrong with the recipe, with its place.
    """
    recipe = load_recipe(path)
    made = run_recipe(recipe, parameters)
    try:
        plug = checked_plug(made.result, recipe.name)
    except PlugError as error:
        unit = getattr(made.result, "display_unit", "mm")
        raise in_recipe(by_parameter(error, recipe, made.parameters), path, unit) from error
    stored = stored_sheets(path)
    cut = kept_record(path)
    return Work(plug, recipe=recipe, parameters=made.parameters, stored=stored, cut=cut, **words)


def work_out(plug: Plug) -> Work:
    """Return the work on a plug in memory: a script, a notebook, a test.

    Parameters
    ----------
    plug : Plug

    Returns
    -------
    Work

    Raises
    ------
    PlugError
        A word of the plug that it cannot have.
    """
    return Work(checked_plug(plug, "plug"), shelf=_SHELF)


def _shown(plug: Plug) -> bytes:
    """Return a picture of a plug's foam, as its work shows it."""
    return work_out(plug)._repr_png_()


Plug._repr_png_ = _shown
