"""A seat hump for a small roadster: faired end to end, with a shallow pocket for a pad."""

from pathlib import Path

from plugs import Corner, End, Hollow, Plug, Recess, Stack, Station, Stock, WireWork, read_machine

MACHINE = Path(__file__).with_name("machines") / "wire_cutter.py"


def seat_hump(
    length=420.0,
    width=300.0,
    height=170.0,          # at its highest, a little behind the middle
    nose_height=70.0,
    tail_height=110.0,
    shoulder_radius=35.0,  # blend along the shoulders at the highest station
    crown=14.0,            # rise of the top over its chord
    end_radius=25.0,
    sheet=30.0,
    allowance=3.0,
    by_wire=False,         # glued up whole, and cut to its side view on the shop's wire cutter
):
    """Seat hump, four stations, every line faired like a batten through them."""

    def station(x, share, z, radius):
        half = share * width / 2
        return Station(
            x=x,
            corners={
                #                  half-breadth    height      blend
                "foot":     Corner(half,           0.0,        4.0),
                "hip":      Corner(0.96 * half,    0.45 * z,   60.0),
                "shoulder": Corner(0.70 * half,    z,          radius),
            },
            crowns={"top": crown * share},
        )

    return Plug(
        name="Seat hump",
        panels=("floor", "flank", "haunch", "top"),
        stations=(
            station(0.0,           0.78, nose_height,  0.5 * shoulder_radius),
            station(0.33 * length, 0.94, 0.86 * height, 0.8 * shoulder_radius),
            station(0.62 * length, 1.00, height,        shoulder_radius),
            station(length,        0.84, tail_height,   0.6 * shoulder_radius),
        ),
        bays="faired",
        front=End(radius=end_radius * 0.6, sharp=("floor",)),
        rear=End(radius=end_radius, sharp=("floor",)),
        recesses=(
            Recess(
                name="pad pocket", panel="top", x=0.62 * length, across=0.0, width=90.0, height=70.0,
                depth=8.0, corner_radius=15.0, draft_deg=8.0, floor_radius=2.0,
            ),
        ),
        stack=Stack(axis="z", thicknesses=(sheet,), allowance=allowance, spare_thickness="both"),
        foam="eps 22" if by_wire else None,
        wire=WireWork(cut="block", across="y", machine=read_machine(MACHINE)) if by_wire else None,
        hollow=Hollow(wall=45.0, bridge=60.0),   # foam saved where nobody sands
        stock=(
            Stock(width=1250.0, height=600.0, thickness=sheet),
            Stock(                               # what the last job left, used first
                outline=((0, 0), (620, 0), (620, 240), (400, 390), (0, 390)), thickness=sheet, count=1,
            ),
        ),
    )
