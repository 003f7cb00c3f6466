"""Drawings of all else that is cut or looked at."""
