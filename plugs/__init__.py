"""Parametric foam plugs for one-off fibreglass parts: from a recipe to foam that can be cut."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from plugs.body.mating import Mating
    from plugs.body.mating_body import MatingBody
    from plugs.cloth.cloth import Laps
    from plugs.cloth.zone_words import DartCut, Zone
    from plugs.edges.words import Edge, Gutter
    from plugs.foam.glue import Glue
    from plugs.foam.hollow import Hollow
    from plugs.foam.joints import Joints
    from plugs.foam.layers import Stack
    from plugs.foam.pins import Pins
    from plugs.foam.stock import Cutting, Stock
    from plugs.ground.doors import Check, Output
    from plugs.ground.errors import Finding, PlugError
    from plugs.ground.units import inch
    from plugs.laminate.choosing import from_data_sheet, oz_per_ft2, oz_per_yd2
    from plugs.laminate.dosing import Shop
    from plugs.laminate.generic import CLOTHS, FOAMS, HARDENERS, RESINS
    from plugs.laminate.materials import Adhesive, Barrier, Board, Cloth, Filler, Foam, Hardener, Resin
    from plugs.laminate.plies import Ply, Schedule
    from plugs.lines.offsets import read_table, stations_of
    from plugs.lines.section import Along, Corner, End, Station
    from plugs.measure.batten import fair_line
    from plugs.measure.fairing import fair
    from plugs.measure.landmarks import between, mirrored
    from plugs.measure.outlines import read_outline
    from plugs.mould.words import Mould, MouldPart
    from plugs.recesses.form import Form
    from plugs.recesses.opening import Opening, Rim
    from plugs.recesses.plates import PLATES
    from plugs.recesses.recess import Boss, Recess
    from plugs.recipe.machine_file import read_machine
    from plugs.recipe.plug import Plug
    from plugs.routing.words import Router
    from plugs.sanding.pocket_pattern import PocketCutting
    from plugs.sanding.sanding import Sanding
    from plugs.skin.skin import Skin
    from plugs.templates.words import Templates
    from plugs.wire.words import Bow, WireAxis, WireCutter, WireWork
    from plugs.work import Work, load, work_out

__version__ = "0.1.0"

_HOME = {
    "Adhesive": "plugs.laminate.materials",
    "Along": "plugs.lines.section",
    "Barrier": "plugs.laminate.materials",
    "Board": "plugs.laminate.materials",
    "Boss": "plugs.recesses.recess",
    "Bow": "plugs.wire.words",
    "CLOTHS": "plugs.laminate.generic",
    "Check": "plugs.ground.doors",
    "Cloth": "plugs.laminate.materials",
    "Corner": "plugs.lines.section",
    "Cutting": "plugs.foam.stock",
    "DartCut": "plugs.cloth.zone_words",
    "Edge": "plugs.edges.words",
    "End": "plugs.lines.section",
    "FOAMS": "plugs.laminate.generic",
    "Filler": "plugs.laminate.materials",
    "Finding": "plugs.ground.errors",
    "Foam": "plugs.laminate.materials",
    "Form": "plugs.recesses.form",
    "Glue": "plugs.foam.glue",
    "Gutter": "plugs.edges.words",
    "HARDENERS": "plugs.laminate.generic",
    "HardPoint": "plugs.hard_points.words",
    "Hardener": "plugs.laminate.materials",
    "Hollow": "plugs.foam.hollow",
    "Joints": "plugs.foam.joints",
    "Laps": "plugs.cloth.cloth",
    "Mating": "plugs.body.mating",
    "MatingBody": "plugs.body.mating_body",
    "Mould": "plugs.mould.words",
    "MouldPart": "plugs.mould.words",
    "Opening": "plugs.recesses.opening",
    "Output": "plugs.ground.doors",
    "PLATES": "plugs.recesses.plates",
    "Pins": "plugs.foam.pins",
    "Plug": "plugs.work",  # which gives it its picture
    "PlugError": "plugs.ground.errors",
    "Ply": "plugs.laminate.plies",
    "PocketCutting": "plugs.sanding.pocket_pattern",
    "RESINS": "plugs.laminate.generic",
    "Recess": "plugs.recesses.recess",
    "Resin": "plugs.laminate.materials",
    "Rim": "plugs.recesses.opening",
    "Sanding": "plugs.sanding.sanding",
    "Router": "plugs.routing.words",
    "Schedule": "plugs.laminate.plies",
    "Shop": "plugs.laminate.dosing",
    "Skin": "plugs.skin.skin",
    "Stack": "plugs.foam.layers",
    "Station": "plugs.lines.section",
    "Stock": "plugs.foam.stock",
    "Templates": "plugs.templates.words",
    "WireAxis": "plugs.wire.words",
    "WireCutter": "plugs.wire.words",
    "WireWork": "plugs.wire.words",
    "Work": "plugs.work",
    "Zone": "plugs.cloth.zone_words",
    "between": "plugs.measure.landmarks",
    "from_data_sheet": "plugs.laminate.choosing",
    "fair": "plugs.measure.fairing",
    "fair_line": "plugs.measure.batten",
    "inch": "plugs.ground.units",
    "load": "plugs.work",
    "mirrored": "plugs.measure.landmarks",
    "oz_per_ft2": "plugs.laminate.choosing",
    "oz_per_yd2": "plugs.laminate.choosing",
    "read_machine": "plugs.recipe.machine_file",
    "read_outline": "plugs.measure.outlines",
    "read_table": "plugs.lines.offsets",
    "stations_of": "plugs.lines.offsets",
    "work_out": "plugs.work",
}

__all__ = [
    "CLOTHS", "FOAMS", "HARDENERS", "PLATES", "RESINS", "Adhesive", "Along", "Barrier", "Board", "Boss",
    "Bow", "Check", "Cloth", "Corner", "Cutting", "DartCut", "Edge", "End", "Filler", "Finding", "Foam",
    "Form", "Glue", "Gutter", "HardPoint", "Hardener", "Hollow", "Joints", "Laps", "Mating", "MatingBody",
    "Mould", "MouldPart", "Opening", "Output", "Pins", "Plug", "PlugError", "Ply", "PocketCutting", "Recess",
    "Resin", "Rim", "Router", "Sanding", "Schedule", "Shop", "Skin", "Stack", "Station", "Stock", "Templates",
    "WireAxis", "WireCutter", "WireWork", "Work", "Zone", "between", "fair", "fair_line", "from_data_sheet",
    "inch", "load", "mirrored", "oz_per_ft2", "oz_per_yd2", "read_machine", "read_outline", "read_table",
    "stations_of", "work_out",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load a name from its module when it is first asked for, so that ``import plugs`` costs nothing."""
    if name not in _HOME:
        raise AttributeError(f"module 'plugs' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """List what a recipe may import."""
    return __all__
