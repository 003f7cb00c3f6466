"""What to buy: whole packs, whole metres of roll, whole sheets, with what they cost where that is known."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Final

from plugs.ground.errors import present
from plugs.ground.records import record
from plugs.ground.tolerances import ROUNDING
from plugs.laminate.choosing import sold_by
from plugs.laminate.layup import Layup
from plugs.laminate.materials import Material
from plugs.laminate.resin_plan import ResinPlan

_MOST_TRIED: Final = 20_000  # choices of packs, all tried: the bound of the work
_MANY: Final = 40.0  # of the largest pack: what is beyond is bought in the cheapest, the rest is tried out
_CHEAPER: Final = 0.8
"""Without prices packs are chosen as if they cost their size to this power: common practice, no source."""


@record(frozen=True, slots=True, kw_only=True)
class Need:
    """Something that is used up.

    Attributes
    ----------
    name : str
    group : str
        "foam", "cloth", "resin", "hardener", "barrier", "filler", "glue" or "board".
    amount : float, in the unit it is sold by
        With waste.
    unit : str
        "kg", "m" or "sheet".
    packs : mapping of float to float or None, units to currency units
        Price of each pack that is sold.
    words : str
        For the list: how sure, or what it is for.
    """

    name: str
    group: str
    amount: float
    unit: str
    packs: Mapping[float, float | None]
    words: str = ""


@record(frozen=True, slots=True, kw_only=True)
class Purchase:
    """A line of the shopping list.

    Attributes
    ----------
    need : Need
    packs : tuple of tuple of int and float, count and units
        How many of each pack, the largest first.
    bought : float, in the unit it is sold by
    price : float or None, currency units
        None when a price is missing.
    used_price : float or None, currency units
        The share of the price that the part uses up.
    """

    need: Need
    packs: tuple[tuple[int, float], ...]
    bought: float
    price: float | None
    used_price: float | None


@record(frozen=True, slots=True, kw_only=True)
class ShoppingList:
    """What to buy for a part.

    Attributes
    ----------
    purchases : tuple of Purchase
    currency : str
    total : float, currency units
        Of the lines that have a price.
    used_total : float, currency units
        Of what the part uses up, likewise.
    missing : tuple of str
        What has no price yet.
    """

    purchases: tuple[Purchase, ...]
    currency: str
    total: float
    used_total: float
    missing: tuple[str, ...]


def need_of(material: Material, amount: float, words: str = "") -> Need:
    """Return how much of a material is needed.

    Parameters
    ----------
    material : Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier
    amount : float, in the unit it is sold by
        kg, m of roll, or sheets.
    words : str

    Returns
    -------
    Need
    """
    return Need(
        name=material.name,
        group=type(material).__name__.lower(),
        amount=amount,
        unit=sold_by(material),
        packs=material.packs,
        words=words,
    )


def layup_needs(
    layup: Layup, plan: ResinPlan, cloth_m: Mapping[str, float], barrier_m2: float = 0.0
) -> tuple[Need, ...]:
    """Return what a layup uses up.

    Parameters
    ----------
    layup : Layup
    plan : ResinPlan
    cloth_m : mapping of str to float, m
        Length of roll by name of the cloth, as the patterns lie on it.
    barrier_m2 : float, m2
        That the barrier covers.

    Returns
    -------
    tuple of Need
        Cloths in the order of the plies, then barrier, resin and hardener. Where the dose is not known,
        all that is mixed is bought as resin, or the most hardener that the resin's record allows.
    """
    cloths = {ply.cloth.name: ply.cloth for ply in layup.plies}
    needs = [need_of(c, cloth_m[name]) for name, c in cloths.items() if name in cloth_m]
    if layup.barrier is not None:
        needs.append(need_of(layup.barrier, barrier_m2 * layup.barrier.spread_kg_m2))
    resin = plan.mixed_kg if plan.resin_kg is None else plan.resin_kg
    if resin > 0.0:
        words = "with its hardener: the ratio is not known" if plan.resin_kg is None else ""
        needs.append(need_of(layup.resin, resin, words))
    hardener, words = plan.hardener_kg, ""
    if hardener is None and plan.hardener_most_kg is not None:
        hardener, words = plan.hardener_most_kg, "the most of its range: the dose is not known"
    if hardener:
        needs.append(need_of(layup.hardener, hardener, words))
    return tuple(needs)


def shopping_list(needs: Sequence[Need], currency: str = "EUR") -> ShoppingList:
    """Return what to buy, needs of the same thing taken together.

    Parameters
    ----------
    needs : sequence of Need
    currency : str
        Of every price.

    Returns
    -------
    ShoppingList
        In the order of first need; nothing is bought of what is not needed.
    """
    together: dict[tuple[str, str, str], Need] = {}
    for need in needs:
        key = (need.group, need.name, need.unit)
        before = together.get(key)
        together[key] = need if before is None else _sum(before, need)
    purchases = tuple(_purchase(need) for need in together.values() if need.amount > ROUNDING)
    return ShoppingList(
        purchases=purchases,
        currency=currency,
        total=sum(p.price for p in purchases if p.price is not None),
        used_total=sum(p.used_price for p in purchases if p.used_price is not None),
        missing=tuple(p.need.name for p in purchases if p.price is None),
    )


def choose_packs(amount: float, packs: Mapping[float, float | None]) -> tuple[tuple[int, float], ...]:
    """Return the packs that hold an amount: the cheapest of all ways, then the one with the least left over.

    Parameters
    ----------
    amount : float, in the packs' unit
    packs : mapping of float to float or None, units to currency units
        Packs without a price are left out if any has one; if none has, see ``_CHEAPER``.

    Returns
    -------
    tuple of tuple of int and float, count and units
        The largest pack first.
    """
    priced = {size: price for size, price in packs.items() if price is not None}
    costs = priced or {size: size**_CHEAPER for size in packs}
    sizes = sorted(costs, reverse=True)
    best = min(sizes, key=lambda size: (costs[size] / size, size))
    first = max(0, math.floor(amount / best - _MANY * sizes[0] / best))
    rest = amount - first * best
    most = [math.ceil(rest / size - ROUNDING) for size in sizes[:-1]]
    while math.prod(n + 1 for n in most) > _MOST_TRIED:
        most[most.index(max(most))] //= 2
    found: tuple[float, float, int, tuple[int, ...]] | None = None
    for counts in itertools.product(*(range(n + 1) for n in most)):
        held = sum(n * size for n, size in zip(counts, sizes[:-1], strict=True))
        last = max(0, math.ceil((rest - held) / sizes[-1] - ROUNDING))
        full = (*counts, last)
        cost = sum(n * costs[size] for n, size in zip(full, sizes, strict=True))
        way = (round(cost, 6), round(held + last * sizes[-1] - rest, 6), sum(full), full)
        found = way if found is None else min(found, way)
    counted = {size: n for n, size in zip(present(found)[3], sizes, strict=True)}
    counted[best] += first
    return tuple((n, size) for size, n in counted.items() if n)


def _sum(one: Need, other: Need) -> Need:
    """Return two needs of the same thing as one."""
    return Need(
        name=one.name,
        group=one.group,
        amount=one.amount + other.amount,
        unit=one.unit,
        packs=one.packs,
        words="; ".join(dict.fromkeys(w for w in (one.words, other.words) if w)),
    )


def _purchase(need: Need) -> Purchase:
    """Return the packs to buy for a need, and what they cost."""
    chosen = choose_packs(need.amount, need.packs)
    bought = sum(n * size for n, size in chosen)
    price = 0.0
    known = True
    for n, size in chosen:
        each = need.packs[size]
        known = known and each is not None
        price += n * (each or 0.0)
    return Purchase(
        need=need,
        packs=chosen,
        bought=bought,
        price=price if known else None,
        used_price=price * need.amount / bought if known else None,
    )
