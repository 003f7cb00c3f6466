"""A fault told by the name of the parameter that was set, not by what the recipe makes of it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from plugs.ground.errors import PlugError, shown
from plugs.recipe.plug import checked_plug
from plugs.recipe.reading import Recipe, run_recipe
from plugs.recipe.sides import as_given

_STEP: Final = re.compile(r"\.?([A-Za-z_]\w*)|\[(\d+)\]|\['([^']*)'\]")
_NOTHING: Final = object()
_TRIALS: Final = 4  # faults, one after the other, that a single parameter makes
_NUDGE_RATIO: Final = 1e-3  # of a value: what follows it moves by enough to be seen, and no shape turns over


def by_parameter(error: PlugError, recipe: Recipe, values: Mapping[str, object]) -> PlugError:
    """Return an error by the parameter that makes the faulty value, where one that was set does so alone.

    Whether it does is found by running the recipe with each parameter that was set a little larger.

    Parameters
    ----------
    error : PlugError
        Its ``param`` a place in the plug.
    recipe : Recipe
    values : mapping of str to object
        Of all parameters, as the recipe was run.

    Returns
    -------
    PlugError
        As it was, where it is not known whose value it is.
    """
    was_set = {
        name: _near(value)
        for name, value in values.items()
        if isinstance(value, int | float) and not isinstance(value, bool) and value != recipe.parameters[name]
    }
    made = _value(error.param, recipe, values) if was_set else _NOTHING
    if made is _NOTHING:
        return error
    others = {name: _value(error.param, recipe, {**values, name: near}) for name, near in was_set.items()}
    movers = [name for name, other in others.items() if other is not _NOTHING and repr(other) != repr(made)]
    if len(movers) != 1:
        return error
    (name,) = movers
    own = f"the recipe's own {name} is {shown(recipe.parameters[name])}"
    does = _that_does(error, recipe, values, name)
    is_it = values[name] == error.value
    makes = f"goes to {error.param}" if is_it else f"makes {error.param} = {shown(error.value)}"
    remedy = f"{error.remedy}; {own}" if is_it else f"{own}; at that place itself: {error.remedy}"
    return PlugError(
        param=name,
        value=values[name],
        reason=f"it {makes}: {error.reason}",
        remedy=remedy if does is None else f"use {does:.6g}; {own}",
        where=error.where,
        would_do=[] if does is None else [(name, does)],
    )


def _that_does(error: PlugError, recipe: Recipe, values: Mapping[str, object], name: str) -> float | None:
    """Return the value of a parameter with which what is wrong is right, and lines can be drawn."""
    for _ in range(_TRIALS):
        does = _follows(error, recipe, values, name)
        if does is None:
            return None
        values = {**values, name: does}
        another = _fault(recipe, values)
        if another is None:
            return does
        error = another
    return None


def _fault(recipe: Recipe, values: Mapping[str, object]) -> PlugError | None:
    """Return what is wrong with the lines and the recesses of the plug that a recipe makes."""
    from plugs.body.body import make_tools
    from plugs.lines.checks import checked_loft

    try:
        plug = checked_plug(run_recipe(recipe, values).result, recipe.name)
    except PlugError as error:
        return error
    try:
        loft = checked_loft(plug.plan())
        make_tools(loft, plug.recesses, "recesses")
        make_tools(loft, [one.well for one in plug.openings], "openings")
    except PlugError as error:
        return as_given(error, plug)
    return None


def _follows(error: PlugError, recipe: Recipe, values: Mapping[str, object], name: str) -> float | None:
    """Return the value of a parameter that makes of a faulty place what would do, which follows it evenly."""
    given = values[name]
    if len(error.would_do) != 1 or error.would_do[0][0] != error.param or not isinstance(given, int | float):
        return None
    near = _near(given)
    made, other = (_value(error.param, recipe, {**values, name: value}) for value in (given, near))
    wanted = error.would_do[0][1]
    if made == other or not all(isinstance(one, int | float) for one in (made, other, wanted)):
        return None
    made, other, wanted = float(made), float(other), float(wanted)  # type: ignore[arg-type]
    return round(given + (wanted - made) * (near - given) / (other - made), 6)


def _near(value: float) -> float:
    """Return a value a little larger than another."""
    return value + _NUDGE_RATIO * max(1.0, abs(value))


def _value(place: str, recipe: Recipe, values: Mapping[str, object]) -> object:
    """Return what stands at a place in the plug that a recipe makes; `_NOTHING` if there is no such place."""
    try:
        found = run_recipe(recipe, values).result
    except PlugError:
        return _NOTHING
    last = 0
    for step in _STEP.finditer(place):
        if step.start() != last:
            return _NOTHING
        last = step.end()
        name, number, key = step.groups()
        try:
            found = getattr(found, name) if name else found[int(number) if number else key]  # type: ignore[index]
        except (AttributeError, LookupError, TypeError):
            return _NOTHING
    return found if last == len(place) else _NOTHING
