"""Fixed: a recess too deep under a skin was told by the foam's depth, and its remedy broke through again."""

from __future__ import annotations

import pytest

from plugs import Corner, Opening, Plug, PlugError, Recess, Rim, Skin, Station
from plugs.work import work_out

CORNERS = {"foot": Corner(200.0, 0.0), "edge": Corner(180.0, 100.0)}
STATIONS = [Station(x=x, corners=CORNERS) for x in (0.0, 300.0)]


def box(skin: float, **words: object) -> Plug:
    """Return a box 100 mm high."""
    given = {"panels": ("floor", "side", "deck"), "skin": Skin(thickness=skin)}
    return Plug(name="Box", stations=STATIONS, **given, **words)  # type: ignore[arg-type]


def recess(skin: float, depth: float) -> Plug:
    """Return the box with a recess in its deck."""
    return box(skin, recesses=(Recess(panel="deck", x=150.0, width=60.0, height=50.0, depth=depth),))


def channel(skin: float, depth: float) -> Plug:
    """Return the box with a channel round an opening in its deck."""
    rim = Rim(kind="drip channel", width=10.0, depth=depth)
    return box(skin, openings=(Opening(panel="deck", x=150.0, width=60.0, height=50.0, rim=rim),))


@pytest.mark.parametrize("skin", [0.0, 0.64, 5.0])
@pytest.mark.parametrize("made", [recess, channel])
def test_a_depth_is_told_as_it_is_drawn_and_the_remedy_does(made, skin: float) -> None:
    """The floor's skin, and the far side's, leave so much less; a millimetre of foam stays."""
    with pytest.raises(PlugError) as caught:
        assert work_out(made(skin, 500.0)).body
    assert caught.value.value == pytest.approx(500.0)
    ((_, most),) = caught.value.would_do
    assert most == pytest.approx(100.0 - 2.0 * skin - 1.0, abs=0.11)
    assert work_out(made(skin, most)).body
