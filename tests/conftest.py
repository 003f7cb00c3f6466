"""What all tests share: nothing but settings of the property tests."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("house", derandomize=True, database=None, deadline=None, max_examples=60)
settings.load_profile("house")
