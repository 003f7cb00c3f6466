"""Every tolerance of the house, each with its reason. Lengths in mm."""

from __future__ import annotations

from typing import Final

CHORD: Final = 0.02
"""Default largest distance between the mesh and the section function: a tenth of what a
builder can feel with a fingernail (common practice, no source)."""

LENGTH: Final = 1e-6
"""Two positions closer than this are the same point: far below anything cut, far above
rounding in double precision at 10 m (2e-12)."""

IN_LINE: Final = 1e-4
"""What is left out of the outline of a sliced body lies no farther from what is left: a two-hundredth of a
chord. A plane crosses the diagonals of a grid too, half of all points, nearly all of them in line."""

KERNEL_VOLUME_RATIO: Final = 1e-5
"""Relative agreement asked of kernel and section volumes of the body without recesses."""

LARGEST: Final = 20_000.0
"""No coordinate of a plug lies farther out than this: 20 m is a typing error in this trade."""

SMALLEST_BODY: Final = 1.0
"""No plug is shorter, narrower or lower than this."""

QUARTER_CHORDS: Final = 16
"""Chords to a quarter circle where an outline in the plane is grown or drawn in: they fall short of the
circle by 0.12 % of its radius, 0.012 mm at 10 mm."""

NO_VOLUME_MM3: Final = 1e-3
"""A body no larger is what arithmetic on meshes leaves over: a grain of 0.1 x 0.1 x 0.1 mm."""

ROUNDING: Final = 1e-9
"""Two figures of everyday size (kg, mm, percent) that differ by no more are one: far below any digit that is
told, far above what double precision loses."""
