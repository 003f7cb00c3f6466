"""Kinds of file that a build can write."""

KINDS = ("stl", "3mf", "glb", "step", "dxf", "svg", "pdf", "png", "html", "csv", "ngc")
"""summary.json is always written."""
