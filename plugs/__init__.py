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
    from plugs.units import inch

_HOME = {
    "Boss": "plugs.shape.recess",
    "Corner": "plugs.shape.section",
    "Cutting": "plugs.foam.stock",
    "End": "plugs.shape.section",
    "Finding": "plugs.errors",
    "Glue": "plugs.foam.glue",
    "Hollow": "plugs.foam.hollow",
    "Joints": "plugs.foam.joints",
    "Mating": "plugs.shape.mating",
    "MatingBody": "plugs.shape.mating_body",
    "PLATES": "plugs.shape.plates",
    "Pins": "plugs.foam.pins",
    "Plug": "plugs.recipe",
    "PlugError": "plugs.errors",
    "PocketWork": "plugs.foam.recess_kit",
    "Recess": "plugs.shape.recess",
    "Sanding": "plugs.foam.sanding",
    "Skin": "plugs.shape.skin",
    "Stack": "plugs.foam.layers",
    "Station": "plugs.shape.section",
    "Stock": "plugs.foam.stock",
    "Templates": "plugs.foam.template_words",
    "between": "plugs.measure.landmarks",
    "fair": "plugs.measure.fairing",
    "inch": "plugs.units",
    "mirrored": "plugs.measure.landmarks",
    "read_outline": "plugs.measure.outlines",
    "read_table": "plugs.shape.table",
    "stations_of": "plugs.shape.table",
}

__all__ = [
    "PLATES", "Boss", "Corner", "Cutting", "End", "Finding", "Glue", "Hollow", "Joints", "Mating",
    "MatingBody", "Pins", "Plug", "PlugError", "PocketWork", "Recess", "Sanding", "Skin", "Stack",
    "Station", "Stock", "Templates", "between", "fair", "inch", "mirrored", "read_outline", "read_table",
    "stations_of",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load a name from its module when it is first asked for, so that ``import plugs`` costs nothing."""
    if name not in _HOME:
        raise AttributeError(f"module 'plugs' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """List what a recipe may import."""
    return __all__
