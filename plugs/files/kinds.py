"""Kinds of file that a build can write."""

KINDS = ("stl", "3mf", "glb", "step", "dxf", "svg", "pdf", "png", "html", "csv", "ngc")
"""summary.json is always written."""

DRAWN = ("dxf", "svg", "pdf")
"""Those that drawings become."""

QUICK = ("stl", "dxf", "svg")
"""Those that are looked at first, and that take no time."""
