"""The starter for a wire cutter's record, to be filled in at the machine."""

from __future__ import annotations

from typing import Final

MACHINE: Final = '''"""Our wire cutter, for every recipe that is cut on it: measure, change the numbers.

In a recipe beside this file:

    from pathlib import Path
    from plugs import Plug, WireWork, read_machine

    Plug(..., foam="eps 22", wire=WireWork(machine=read_machine(Path(__file__).with_name("@FILE@"))))

Lengths in millimetres, feeds in millimetres a minute. Along and up are the ways of an end of the wire; across
runs along the wire, from the plane of the near end to that of the far one.
"""

from plugs import WireAxis, WireCutter


def @FUNCTION@():
    """Describe the machine: at equal values of both ends the wire lies square to its two planes."""
    return WireCutter(
        name=@TITLE@,
        span=1200.0,             # between the planes in which the two ends move
        wire_lies="level",       # or "upright": the wire stands, the sheet lies flat
        # Stand at the near end, look to the far one: does "along" count to the left or to the right?
        along_runs="left",       # the wrong one cuts everything as in a mirror
        # The axes of each end, along and up: the letter in programs, and the travel.
        near=(WireAxis(letter="X", least=0.0, most=600.0), WireAxis(letter="Y", least=0.0, most=300.0)),
        far=(WireAxis(letter="U", least=0.0, most=600.0), WireAxis(letter="V", least=0.0, most=300.0)),
        # Where a block may lie; along and up as the axes count, across from the near plane.
        room_along=(20.0, 580.0),
        room_up=(0.0, 280.0),
        room_across=(100.0, 1100.0),
        start=(0.0, 0.0),        # along, up: both ends before and after a program, clear of any block
        # How programs are written: see the manual of the controller.
        unit="mm",               # or "in"
        decimals=3,
        begins=(),               # lines of your own before the first move
        ends=("M2",),            # and after the last: the last one ends the program
        wire_on="M3",            # "" where the wire is switched by hand
        wire_off="M5",
        feed_mode="G93",         # inverse time; "G94" where the controller knows no other
        inverse_time="1/minutes",  # what F is under G93; some take "1/seconds" or "seconds"
        feed_along="near",       # what F is along under G94; or "all" four axes together
        # How fast it may go.
        most_feed=(1000.0, 1000.0),  # near end, far end
        feed=240.0,              # through the foam
        air_feed=600.0,          # outside it
        wire_diameter=0.4,
        # The slot test: feed and width of the slot, measured on your foam with your heat.
        # Until there is one, 1 mm is guessed, and every build says so.
        kerf=(),                 # such as ((120.0, 1.4), (240.0, 1.0), (480.0, 0.8))
    )
'''
"""With marks for the file's name, the function's, and the machine's."""
