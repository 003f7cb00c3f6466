"""The shop and the command line of the tests beside, for faults that were met there."""

from __future__ import annotations

from tests.cli.conftest import plugs, shop

__all__ = ["plugs", "shop"]
