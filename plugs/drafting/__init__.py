"""Drawings: lines, arcs, words and their look, and those of layers and sheets."""
