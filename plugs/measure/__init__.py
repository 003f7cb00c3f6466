"""Measured outlines in, fair curves out."""
