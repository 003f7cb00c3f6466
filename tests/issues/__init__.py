"""Proof: tests of the project."""
