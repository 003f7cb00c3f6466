"""Pieces of cloth: zones of a surface laid flat."""
