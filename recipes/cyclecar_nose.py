"""A pointed nose for a cyclecar: every line runs out to one point, in half shells over gauges."""

from plugs import (
    RESINS, Corner, Plug, Ply, Schedule, Skin, Stack, Station, Templates, from_data_sheet,
)


def cyclecar_nose(
    length=640.0,
    width=460.0,           # at the bulkhead
    height=330.0,          # at the bulkhead
    tip=120.0,             # height of the point over the floor of the bulkhead
    fullness=0.72,         # share of the bulkhead's size at two fifths of the length
    chine=0.35,            # height of the widest line, as a share of the height
    shoulder_radius=70.0,  # blend along the shoulders at the bulkhead
    crown=18.0,            # rise of the top over its chord at the bulkhead
    sheet=50.0,
    allowance=3.0,
):
    """Nose of four stations, the first of which is its point; all lines are faired from there."""

    def station(share, size):
        half = size * width / 2
        def z(up):                                 # every height runs out to that of the point
            return tip + size * (up * height - tip)
        return Station(
            x=share * length,
            corners={
                #                   half-breadth  height    blend
                "keel":     Corner(0.70 * half,   z(0.0),   30.0 * size),
                "chine":    Corner(half,          z(chine), 90.0 * size),
                "shoulder": Corner(0.66 * half,   z(1.0),   shoulder_radius * size),
            },
            crowns={"top": crown * size, "floor": 0.4 * crown * size},
        )

    return Plug(
        name="Cyclecar nose",
        panels=("floor", "lower flank", "flank", "top"),
        stations=(
            station(0.0, 0.0),                     # the point
            station(0.12, 0.52 * fullness),
            station(0.4, fullness),
            station(1.0, 1.0),
        ),
        bays="faired within",
        skin=Skin(no_laminate=("rear",)),
        schedule=Schedule(
            plies=(Ply(cloth="cloth 200"), Ply(cloth="cloth 280"), Ply(cloth="cloth 280")),
            resin=from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 40.0), pot_life_min=40.0),
        ),
        stack=Stack(axis="z", thicknesses=(sheet,), allowance=allowance, spare_thickness="both"),
        templates=Templates(kind="gauges", thickness=6.0, stations=(0.12 * length, 0.4 * length, 0.8 * length)),
    )
