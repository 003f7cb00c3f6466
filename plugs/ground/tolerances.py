"""Every tolerance of the house, each with its reason. Lengths in mm."""

from __future__ import annotations

from typing import Final

CHORD: Final = 0.02
"""Default largest distance between the mesh and the section function: a tenth of what a
builder can feel with a fingernail (common practice, no source)."""

LENGTH: Final = 1e-6
"""Two positions closer than this are the same point: far below anything cut, far above
rounding in double precision at 10 m (2e-12)."""

KERNEL_VOLUME_RATIO: Final = 1e-5
"""Relative agreement asked of kernel and section volumes of the body without recesses."""

LARGEST: Final = 20_000.0
"""No coordinate of a plug lies farther out than this: 20 m is a typing error in this trade."""

SMALLEST_BODY: Final = 1.0
"""No plug is shorter, narrower or lower than this."""
