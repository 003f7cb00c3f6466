"""Resin and hardener in the shop: the dose at its temperature, the time in the pot, the size of a batch."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Annotated, Final

from plugs.ground.errors import PlugError
from plugs.ground.limits import Within
from plugs.ground.records import record
from plugs.laminate.materials import Hardener, Resin

_HALVING_C: Final = 10.0
"""Pot life halves for so many degrees: an epoxy maker's page; a general rule says a factor of 1.5 to 2.5."""


@record(frozen=True, slots=True, kw_only=True)
class Shop:
    """The shop and who lays up in it.

    Attributes
    ----------
    temperature_c : float, degrees C
        Of shop, foam and resin.
    hardener_percent : float or None, percent
        By mass, read off the resin's sheet for this temperature; None takes the resin's own table of doses.
    minutes_per_m2 : float, minutes
        To lay one ply over a square metre and roll it out. The default is common practice, no source.
    pot_life_ratio : float, dimensionless
        Share of the pot life that is worked with. The default is common practice, no source.
    resin_waste_percent : float, percent
        Left in pots, brushes and rollers. The default is common practice, no source.
    """

    temperature_c: Annotated[float, Within(0.0, 45.0)] = 20.0
    hardener_percent: Annotated[float, Within(0.0, 100.0)] | None = None
    minutes_per_m2: Annotated[float, Within(0.5, 240.0)] = 10.0
    pot_life_ratio: Annotated[float, Within(0.1, 1.0)] = 0.6
    resin_waste_percent: Annotated[float, Within(0.0, 200.0)] = 10.0


@record(frozen=True, slots=True, kw_only=True)
class Dose:
    """How much hardener a resin takes.

    Attributes
    ----------
    percent : float or None, percent
        By mass of the resin; None when only the data sheet knows.
    least_percent, most_percent : float or None, percent
        The range of the resin's record; None for a fixed ratio.
    percent_by_volume : float or None, percent
        Of the resin's volume.
    source : str
        Where the dose came from, or why there is none.
    """

    percent: float | None
    least_percent: float | None
    most_percent: float | None
    percent_by_volume: float | None
    source: str


def dose_of(resin: Resin, hardener: Hardener, shop: Shop) -> Dose:
    """Return the dose for a shop: what the data sheet says, never outside the resin's own range.

    Parameters
    ----------
    resin : Resin
    hardener : Hardener
    shop : Shop

    Returns
    -------
    Dose
        Without a dose where neither recipe nor resin holds the data sheet's value; a table of doses is
        read between its rows, not beyond them.

    Raises
    ------
    PlugError
        A dose outside the range of the resin's record, or one for a resin that has a fixed ratio.
    """
    if resin.hardens_by == "ratio":
        if shop.hardener_percent is not None:
            raise PlugError(
                param="shop.hardener_percent",
                value=shop.hardener_percent,
                reason=f"{resin.name} takes a fixed ratio, which is never varied",
                remedy="give the resin its ratio_by_mass, such as (100, 30), and take this out",
            )
        return _fixed_dose(resin, hardener)
    least, most = resin.percent_range
    percent, source = shop.hardener_percent, "the recipe, from the resin's sheet"
    if percent is None:
        percent, source = _from_table(resin, shop.temperature_c)
    elif not least <= percent <= most:
        raise PlugError(
            param="shop.hardener_percent",
            value=percent,
            reason=f"the range of {resin.name} is {least:g} to {most:g} % by mass",
            remedy=f"use {min(max(percent, least), most):g}, or warm or cool the shop; "
            "if its sheet has another range, give the resin that percent_range",
        )
    by_volume = None if percent is None else percent * resin.density_kg_m3 / hardener.density_kg_m3
    return Dose(
        percent=percent, least_percent=least, most_percent=most, percent_by_volume=by_volume, source=source
    )


def pot_life_at(resin: Resin, temperature_c: float) -> float | None:
    """Return the time that a resin stays liquid in the pot: half for each 10 degrees more.

    Parameters
    ----------
    temperature_c : float, degrees C

    Returns
    -------
    float or None, minutes
        None when only the data sheet knows.

    References
    ----------
    Halves per 18 F (10 C): an epoxy maker's page, secondary; as a general rule the factor is 1.5 to 2.5.
    """
    if resin.pot_life_min is None:
        return None
    return float(resin.pot_life_min * 2.0 ** ((resin.pot_life_c - temperature_c) / _HALVING_C))


def cool_enough_c(temperature_c: float, minutes: float, wanted: float) -> float:
    """Return the temperature at which what takes some minutes takes as many as are wanted.

    Parameters
    ----------
    temperature_c : float, degrees C
    minutes, wanted : float, minutes

    Returns
    -------
    float, degrees C
        By the rule of `pot_life_at`.
    """
    return float(temperature_c - _HALVING_C * math.log2(wanted / minutes))


def _fixed_dose(resin: Resin, hardener: Hardener) -> Dose:
    """Return the dose of a fixed ratio, by mass if that is known, else by volume."""
    heavier = hardener.density_kg_m3 / resin.density_kg_m3
    percent = by_volume = None
    source = "no mixing ratio is known"
    if resin.ratio_by_volume is not None:
        by_volume = 100.0 * resin.ratio_by_volume[1] / resin.ratio_by_volume[0]
        percent, source = by_volume * heavier, "the resin's ratio by volume, and both densities"
    if resin.ratio_by_mass is not None:
        percent = 100.0 * resin.ratio_by_mass[1] / resin.ratio_by_mass[0]
        by_volume = percent / heavier if by_volume is None else by_volume
        source = "the resin's ratio by mass"
    return Dose(
        percent=percent, least_percent=None, most_percent=None, percent_by_volume=by_volume, source=source
    )


def _from_table(resin: Resin, temperature_c: float) -> tuple[float | None, str]:
    """Return a dose read between the rows of the resin's own table, or why there is none."""
    rows = sorted(resin.doses.items())
    if not rows:
        return None, f"no dose of hardener is known for {temperature_c:g} C"
    if not rows[0][0] <= temperature_c <= rows[-1][0]:
        span = f"{rows[0][0]:g} to {rows[-1][0]:g} C" if len(rows) > 1 else f"{rows[0][0]:g} C alone"
        return None, f"the doses of {resin.name} hold for {span}, not for {temperature_c:g} C"
    for (cold, more), (warm, less) in pairwise(rows):
        if cold <= temperature_c <= warm:
            share = (temperature_c - cold) / (warm - cold)
            return more + share * (less - more), "the resin's table of doses"
    return rows[0][1], "the resin's table of doses"
