"""Sheets and boards cut on a router, by a saw or a knife: ways of the tool, programs, and those read back."""
