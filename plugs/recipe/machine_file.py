"""A machine's record in a file of its own, which many recipes share."""

from __future__ import annotations

from pathlib import Path

from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.recipe.reading import load_recipe, run_recipe
from plugs.wire.words import WireCutter, check_machine


def read_machine(path: str | Path, **parameters: object) -> WireCutter:
    """Return the wire cutter that a Python file describes: one function, which returns a `WireCutter`.

    Parameters
    ----------
    path : str or Path
        For one beside the recipe, ``Path(__file__).with_name("our_wire.py")``.
    parameters : object
        Of its function, by name, where it has any.

    Returns
    -------
    WireCutter

    Raises
    ------
    PlugError
        Anything wrong with the file or the machine, with the file's name.
    """
    recipe = load_recipe(Path(path))
    result = run_recipe(recipe, parameters).result
    where = Path(path).name
    if not isinstance(result, WireCutter):
        raise PlugError(
            param=f"{recipe.name}()",
            value=type(result).__name__,
            reason="a machine's function returns its record",
            remedy='end it with: return WireCutter(name="...", span=1200.0, ...)',
            where=where,
        )
    try:
        machine = checked(result, WireCutter, "")
        check_machine(machine, "")
    except PlugError as error:
        raise error.at(where) from error
    return machine
