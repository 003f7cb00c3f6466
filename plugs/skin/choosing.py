"""Which material a recipe means: one of the tables, changed by its own sheet, or its own record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Final

from plugs.errors import PlugError
from plugs.shape.cells import closest
from plugs.shape.plan import number
from plugs.skin.materials import (
    CLOTH_KINDS,
    FOAM_KINDS,
    LABELS,
    RESIN_KINDS,
    Board,
    Cloth,
    Foam,
    Hardener,
    M,
    Material,
    Resin,
)

_GRAMS_PER_OUNCE: Final = 28.349523125
_M2_PER_YARD2: Final = 0.9144**2
_M2_PER_FOOT2: Final = 0.3048**2
_RANGES: Final = {
    "density_kg_m3": (5.0, 9000.0), "cured_kg_m3": (800.0, 2500.0), "fibre_kg_m3": (900.0, 9000.0),
    "weight_gsm": (5.0, 3000.0), "roll_width": (10.0, 5000.0), "mat_ratio": (0.0, 1.0),
    "glass_content": (0.1, 0.8), "locking_deg": (5.0, 89.0), "service_c": (30.0, 400.0),
    "seal_kg_m2": (0.0, 5.0), "spread_kg_m2": (0.0, 5.0), "uptake_kg_m2": (0.0, 2.0),
    "least_thickness": (0.5, 200.0), "thickness": (0.1, 200.0), "width": (10.0, 10_000.0),
    "height": (10.0, 10_000.0), "pot_life_min": (1.0, 600.0), "pot_life_c": (0.0, 50.0),
    "largest_batch_kg": (0.02, 50.0), "wet_limit": (0.1, 50.0), "least_c": (0.0, 40.0),
    "peak_c": (20.0, 300.0),
}  # fmt: skip
_CHOICES: Final = {
    "hot_wire": ("yes", "never", "sheet"),
    "hardens_by": ("percent", "ratio"),
}
_LISTS: Final = ("dissolved_by", "dissolves", "stops")
_MOST_PERCENT: Final = 4.0
_MOST_PARTS: Final = 1000.0


_KINDS: Final[dict[type, tuple[str, ...]]] = {
    Foam: FOAM_KINDS, Cloth: CLOTH_KINDS, Resin: RESIN_KINDS, Hardener: ("peroxide", "amine"),
}  # fmt: skip


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


def label_of(material: Material) -> str:
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


def by_sheet(material: M, param: str = "by_sheet", **values: object) -> M:
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
    return checked_material(changed, param)


def material_named(given: object, table: Mapping[str, M], param: str) -> M:
    """Return the material that a recipe names or brings along, checked.

    Parameters
    ----------
    given : object
        A name of the table, or a record of the table's kind.
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
    kind = type(next(iter(table.values())))
    if isinstance(given, kind):
        return checked_material(given, param)
    if isinstance(given, str) and given in table:
        return table[given]
    word = kind.__name__.lower()
    raise PlugError(
        param=param,
        value=given,
        reason=f"no {word} of that name is in the table"
        if isinstance(given, str)
        else f"this is neither the name of a {word} nor a {kind.__name__}(...)",
        remedy=f"use one of: {closest(str(given), list(table))}; or your own {kind.__name__}(name=..., ...)",
    )


def checked_material(material: M, param: str) -> M:
    """Return a material, every value checked.

    Parameters
    ----------
    material : Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier
    param : str
        Where the recipe gives it.

    Returns
    -------
    Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier
        The same.

    Raises
    ------
    PlugError
        A value that no such material can have.
    """
    if not isinstance(material.name, str) or not material.name.strip():
        raise PlugError(
            param=f"{param}.name",
            value=material.name,
            reason="a list to buy by needs a name",
            remedy="give one",
        )
    for word in (f.name for f in fields(material)):
        value = getattr(material, word)
        if word in _RANGES and value is not None:
            least, most = _RANGES[word]
            number(f"{param}.{word}", value, least=least, most=most)
        if word in _LISTS and (isinstance(value, str) or not isinstance(value, Sequence)):
            raise PlugError(
                param=f"{param}.{word}",
                value=value,
                reason="this is no list of kinds",
                remedy=f'write {word}=("{value}",)' if isinstance(value, str) else f"write {word}=()",
            )
        choices = _KINDS.get(type(material), ()) if word == "kind" else _CHOICES.get(word, ())
        if choices and value not in choices:
            raise PlugError(
                param=f"{param}.{word}",
                value=value,
                reason="there is no such kind",
                remedy=f"use one of: {closest(str(value), choices)}",
            )
    _check_packs(material, param)
    if isinstance(material, Resin):
        _check_hardening(material, param)
    return material


def _check_packs(material: Material, param: str) -> None:
    """Refuse packs that hold nothing, are of no number, or pay."""
    if not isinstance(material.packs, Mapping) or not material.packs:
        raise PlugError(
            param=f"{param}.packs",
            value=material.packs,
            reason="it is sold in no pack",
            remedy=f"write packs={{1.0: None}}: 1 {sold_by(material)}, and its price when you know it",
        )
    for size, price in material.packs.items():
        number(f"{param}.packs", size, least=1e-3, most=1e5)
        if price is not None:
            number(f"{param}.packs[{size:g}]", price, least=0.0, most=1e9)


def _check_hardening(resin: Resin, param: str) -> None:
    """Refuse a dose outside the resin's own range, and a range outside what is ever said."""
    least, most = _pair(f"{param}.percent_range", resin.percent_range, most=_MOST_PERCENT)
    if least > most:
        raise PlugError(
            param=f"{param}.percent_range",
            value=resin.percent_range,
            reason="the least is more than the most",
            remedy=f"write ({most:g}, {least:g})",
        )
    for warmth, dose in resin.doses.items():
        number(f"{param}.doses", warmth, least=-10.0, most=60.0)
        number(f"{param}.doses[{warmth:g}]", dose, least=least, most=most)
    for word in ("ratio_by_mass", "ratio_by_volume"):
        if getattr(resin, word) is not None:
            _pair(f"{param}.{word}", getattr(resin, word), most=_MOST_PARTS)


def _pair(param: str, value: object, most: float) -> tuple[float, float]:
    """Return two positive numbers, or refuse them."""
    if isinstance(value, str) or not isinstance(value, Sequence) or len(value) != 2:
        raise PlugError(
            param=param, value=value, reason="this is not two numbers", remedy="write two, such as (2.0, 1.0)"
        )
    first, second = (number(f"{param}[{i}]", part, least=1e-3, most=most) for i, part in enumerate(value))
    return first, second
