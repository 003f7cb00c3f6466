"""Parametric foam plugs for one-off fibreglass parts: from a recipe to foam that can be cut."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from plugs.errors import Finding, PlugError
    from plugs.foam.glue import Glue
    from plugs.foam.hollow import Hollow
    from plugs.foam.joints import Joints
    from plugs.foam.layers import Stack
    from plugs.foam.pins import Pins
    from plugs.foam.recess_kit import PocketWork
    from plugs.foam.sanding import Sanding
    from plugs.foam.stock import Cutting, Stock
    from plugs.foam.template_words import Templates
    from plugs.measure.fairing import fair
    from plugs.measure.landmarks import between, mirrored
    from plugs.measure.outlines import read_outline
    from plugs.recipe import Plug
    from plugs.shape.mating import Mating
    from plugs.shape.mating_body import MatingBody
    from plugs.shape.plates import PLATES
    from plugs.shape.recess import Boss, Recess
    from plugs.shape.section import Corner, End, Station
    from plugs.shape.skin import Skin
    from plugs.shape.table import read_table, stations_of
    from plugs.skin.choosing import by_sheet, oz_per_ft2, oz_per_yd2
    from plugs.skin.cloth import Laps
    from plugs.skin.dosing import Shop
    from plugs.skin.generic import CLOTHS, FOAMS, HARDENERS, RESINS
    from plugs.skin.materials import Adhesive, Barrier, Board, Cloth, Filler, Foam, Hardener, Resin
    from plugs.skin.plies import Ply, Schedule
    from plugs.skin.zone_words import DartCut, Zone
    from plugs.units import inch

_HOME = {
    "Adhesive": "plugs.skin.materials",
    "Barrier": "plugs.skin.materials",
    "Board": "plugs.skin.materials",
    "Boss": "plugs.shape.recess",
    "CLOTHS": "plugs.skin.generic",
    "Cloth": "plugs.skin.materials",
    "Corner": "plugs.shape.section",
    "Cutting": "plugs.foam.stock",
    "DartCut": "plugs.skin.zone_words",
    "End": "plugs.shape.section",
    "FOAMS": "plugs.skin.generic",
    "Filler": "plugs.skin.materials",
    "Finding": "plugs.errors",
    "Foam": "plugs.skin.materials",
    "Glue": "plugs.foam.glue",
    "HARDENERS": "plugs.skin.generic",
    "Hardener": "plugs.skin.materials",
    "Hollow": "plugs.foam.hollow",
    "Joints": "plugs.foam.joints",
    "Laps": "plugs.skin.cloth",
    "Mating": "plugs.shape.mating",
    "MatingBody": "plugs.shape.mating_body",
    "PLATES": "plugs.shape.plates",
    "Pins": "plugs.foam.pins",
    "Plug": "plugs.recipe",
    "PlugError": "plugs.errors",
    "Ply": "plugs.skin.plies",
    "PocketWork": "plugs.foam.recess_kit",
    "RESINS": "plugs.skin.generic",
    "Recess": "plugs.shape.recess",
    "Resin": "plugs.skin.materials",
    "Sanding": "plugs.foam.sanding",
    "Schedule": "plugs.skin.plies",
    "Shop": "plugs.skin.dosing",
    "Skin": "plugs.shape.skin",
    "Stack": "plugs.foam.layers",
    "Station": "plugs.shape.section",
    "Stock": "plugs.foam.stock",
    "Templates": "plugs.foam.template_words",
    "Zone": "plugs.skin.zone_words",
    "between": "plugs.measure.landmarks",
    "by_sheet": "plugs.skin.choosing",
    "fair": "plugs.measure.fairing",
    "inch": "plugs.units",
    "mirrored": "plugs.measure.landmarks",
    "oz_per_ft2": "plugs.skin.choosing",
    "oz_per_yd2": "plugs.skin.choosing",
    "read_outline": "plugs.measure.outlines",
    "read_table": "plugs.shape.table",
    "stations_of": "plugs.shape.table",
}

__all__ = [
    "CLOTHS", "FOAMS", "HARDENERS", "PLATES", "RESINS", "Adhesive", "Barrier", "Board", "Boss", "Cloth",
    "Corner", "Cutting", "DartCut", "End", "Filler", "Finding", "Foam", "Glue", "Hardener", "Hollow",
    "Joints", "Laps", "Mating", "MatingBody", "Pins", "Plug", "PlugError", "Ply", "PocketWork", "Recess",
    "Resin", "Sanding", "Schedule", "Shop", "Skin", "Stack", "Station", "Stock", "Templates", "Zone",
    "between", "by_sheet", "fair", "inch", "mirrored", "oz_per_ft2", "oz_per_yd2", "read_outline",
    "read_table", "stations_of",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load a name from its module when it is first asked for, so that ``import plugs`` costs nothing."""
    if name not in _HOME:
        raise AttributeError(f"module 'plugs' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """List what a recipe may import."""
    return __all__
