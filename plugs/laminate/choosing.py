"""Which material a recipe means: one of the tables, changed by its own sheet, or its own record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Final

from plugs.ground.checking import checked, number
from plugs.ground.errors import PlugError
from plugs.laminate.materials import (
    LABELS,
    Board,
    Cloth,
    Foam,
    M,
    Material,
    Resin,
)
from plugs.tables.csv_in import closest

_GRAMS_PER_OUNCE: Final = 28.349523125  # avoirdupois, exactly: agreement of 1959 (from memory)
_M2_PER_YARD2: Final = 0.9144**2  # the yard of 1959 is 0.9144 m exactly
_M2_PER_FOOT2: Final = 0.3048**2  # a foot is a third of a yard


def oz_per_yd2(ounces: float) -> float:
    """Return a cloth's weight given in ounces per square yard.

    Parameters
    ----------
    ounces : float, units of oz/yd2

    Returns
    -------
    float, g/m2

    References
    ----------
    International yard and pound agreement, 1959: 1 oz = 28.349523125 g, 1 yd = 0.9144 m, by definition.
    """
    return number("oz_per_yd2", ounces, least=0.0, most=1000.0) * _GRAMS_PER_OUNCE / _M2_PER_YARD2


def oz_per_ft2(ounces: float) -> float:
    """Return a mat's weight given in ounces per square foot.

    Parameters
    ----------
    ounces : float, units of oz/ft2

    Returns
    -------
    float, g/m2

    References
    ----------
    International yard and pound agreement, 1959: 1 oz = 28.349523125 g, 1 ft = 0.3048 m, by definition.
    """
    return number("oz_per_ft2", ounces, least=0.0, most=1000.0) * _GRAMS_PER_OUNCE / _M2_PER_FOOT2


def source_label(material: Material) -> str:
    """Return how sure a material's record is as a whole: as sure as its least sure value.

    Parameters
    ----------
    material : Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier

    Returns
    -------
    str
        One of `LABELS`; "recipe" when no source is told.
    """
    labels = [words.partition(":")[0] for words in material.sources.values()]
    return min(labels, key=LABELS.index, default="recipe")


def sold_by(material: Material) -> str:
    """Return what a material is counted in when it is bought.

    Parameters
    ----------
    material : Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier

    Returns
    -------
    str
        "sheet", "m" of roll, or "kg".
    """
    return "sheet" if isinstance(material, Foam | Board) else "m" if isinstance(material, Cloth) else "kg"


def from_data_sheet(material: M, param: str = "from_data_sheet", **values: object) -> M:
    """Return a material with values from the sheet that came with it.

    Parameters
    ----------
    material : Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier
        Of a table, say.
    param : str
        What an error calls it.
    **values : object
        Fields and their values: ``ratio_by_volume=(2, 1), pot_life_min=25.0, packs={1.5: 38.0}``.

    Returns
    -------
    Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier
        Of the same kind, its new values labelled "sheet".

    Raises
    ------
    PlugError
        A field that there is not, or a value out of range.
    """
    known = [f.name for f in fields(material) if f.name != "sources"]
    for word in values:
        if word not in known:
            raise PlugError(
                param=f"{param}.{word}",
                value=values[word],
                reason=f"a {type(material).__name__.lower()} has no such value",
                remedy=f"use one of: {closest(word, known)}",
            )
    told = {word: "sheet: the sheet that came with it" for word in values if word not in ("name", "packs")}
    changed = replace(material, **values, sources={**material.sources, **told})  # type: ignore[arg-type]
    whole = checked(changed, type(changed), param)
    check_material(whole, param)
    return whole


def material_named(given: object, table: Mapping[str, M], param: str) -> M:
    """Return the material that a recipe names or brings along.

    Parameters
    ----------
    given : object
        A name of the table, or a record of the table's kind, of any if it has several.
    table : mapping of str to Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier
    param : str
        Where the recipe gives it.

    Returns
    -------
    Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier

    Raises
    ------
    PlugError
        A name that is not in the table, or something else.
    """
    kinds = tuple(dict.fromkeys(type(one) for one in table.values()))
    if isinstance(given, kinds):
        return given
    if isinstance(given, str) and given in table:
        return table[given]
    word = " or ".join(kind.__name__.lower() for kind in kinds)
    own = " or ".join(kind.__name__ for kind in kinds)
    raise PlugError(
        param=param,
        value=given,
        reason=f"no {word} of that name is in the table"
        if isinstance(given, str)
        else f"this is neither the name of a {word} nor a {own}(...)",
        remedy=f"use one of: {closest(str(given), list(table))}; or your own {own}(name=..., ...)",
    )


def check_material(material: Material, param: str) -> None:
    """Refuse a material whose words do not go together.

    Parameters
    ----------
    material : Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier
        Each word checked by itself.
    param : str
        Where the recipe gives it.

    Raises
    ------
    PlugError
        A source without its label, a dose outside its resin's own range.
    """
    for word, told in material.sources.items():
        if told.partition(":")[0] not in LABELS:
            raise PlugError(
                param=f"{param}.sources[{word!r}]",
                value=told,
                reason="a source begins with how sure it is, and a colon",
                remedy=f'use one of: {", ".join(LABELS)}; such as "sheet: the sheet that came with it"',
            )
    if isinstance(material, Resin):
        _check_hardening(material, param)


def _check_hardening(resin: Resin, param: str) -> None:
    """Refuse a dose outside the resin's own range, and a range outside what is ever said."""
    least, most = resin.percent_range
    if least > most:
        raise PlugError(
            param=f"{param}.percent_range",
            value=resin.percent_range,
            reason="the least is more than the most",
            remedy=f"write ({most:g}, {least:g})",
        )
    for warmth, dose in resin.doses.items():
        number(f"{param}.doses[{warmth:g}]", dose, least=least, most=most)
