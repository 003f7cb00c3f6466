"""From records to files: drawings, solids, tables, and the folder that holds them."""

KINDS = ("stl", "3mf", "glb", "step", "dxf", "svg", "pdf", "png", "html", "csv")
"""Kinds of file that a build can write; summary.json is always written."""
