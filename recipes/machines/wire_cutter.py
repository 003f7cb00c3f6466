"""The wire cutter of a small shop, for every recipe that is cut on it: a scenario of our own.

Along and up are the ways of an end of the wire; across runs along the wire, from the near plane to the far one.
"""

from plugs import WireAxis, WireCutter


def wire_cutter():
    """Four axes, a wire of 0.4 mm, slots measured in white foam of 22 kg/m3 at one heat."""
    return WireCutter(
        name="Wire cutter",
        span=800.0,
        wire_lies="level",
        along_runs="left",       # seen from the near end to the far one
        near=(WireAxis(letter="X", least=0.0, most=900.0), WireAxis(letter="Y", least=0.0, most=500.0)),
        far=(WireAxis(letter="U", least=0.0, most=900.0), WireAxis(letter="V", least=0.0, most=500.0)),
        room_along=(30.0, 850.0),
        room_up=(20.0, 480.0),
        room_across=(50.0, 750.0),
        start=(0.0, 0.0),
        feed_mode="G93",
        most_feed=(1000.0, 1000.0),
        feed=240.0,
        air_feed=600.0,
        wire_diameter=0.4,
        kerf=((60.0, 1.9), (120.0, 1.4), (170.0, 1.2), (240.0, 1.0), (340.0, 0.9), (480.0, 0.8)),
    )
