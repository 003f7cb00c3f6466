"""Pieces on sheets and offcuts."""
