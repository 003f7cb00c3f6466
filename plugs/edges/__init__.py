"""Edges of the part: flanges, turned edges, gutters, and the lines that the laminate is trimmed to."""
