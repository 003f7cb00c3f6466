"""Kinds of file, and the folder that holds them."""
