"""Sheets and boards cut on a router: paths of its bit, programs, and those read back."""
