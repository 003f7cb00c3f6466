"""A boot lid with a crisp duck-tail lip, a return flange under its sides and rear, and plywood for its hinges."""

from plugs import (
    RESINS, Corner, Edge, End, HardPoint, Plug, Ply, Schedule, Skin, Stack, Station, from_data_sheet,
)


def boot_lid(
    length=620.0,
    width=980.0,           # over the sides, at the front
    taper=60.0,            # narrower by so much at the rear, on each side
    height=95.0,           # of the deck, up to where the lip begins
    lip=38.0,              # higher at the rear edge
    flat=0.6,              # share of the length that is flat
    crown=14.0,            # rise of the deck over its chord
    side_radius=24.0,      # blend along the sides
    lip_radius=8.0,        # between deck and rear face: crisp
    corner_radius=45.0,    # between sides and rear face: as the body has it
    flange=25.0,           # return of the laminate under the sides and the rear
    hinge=260.0,           # of each hinge from the centreline
    sheet=50.0,
    allowance=3.0,
):
    """Boot lid, five stations; the deck is drawn straight to the third and faired behind it."""

    def station(share, rise, radius=side_radius):
        half = width / 2 - share * taper
        z = height + rise * lip
        return Station(
            x=share * length,
            corners={
                #                    half-breadth  height  blend
                "sill":      Corner(half,          0.0,    0.0),
                "deck edge": Corner(half - 18.0,   z,      radius),
            },
            crowns={"deck": crown * (1 - 0.4 * rise)},
        )

    behind = (1 - flat) / 2
    return Plug(
        name="Boot lid",
        panels=("floor", "side", "deck"),
        stations=(
            station(0.0, 0.0),
            station(flat / 2, 0.0),
            station(flat, 0.0),
            station(flat + behind, 0.3),
            station(1.0, 1.0),
        ),
        bays={"deck edge": ("straight", "straight", "faired", "faired"), "sill": "straight"},
        rear=End(radius=corner_radius, by_panel={"deck": lip_radius}, sharp=("floor",)),
        skin=Skin(filler=0.4, no_laminate=("front",)),
        edges=(Edge(name="return flange", on="floor", lines=("sill", "rear"), width=flange, radius=8.0),),
        hard_points=(
            HardPoint(
                name="hinge", panel="deck", side="both", x=55.0, across=hinge, width=80.0, height=60.0,
                material="plywood 12", corner_radius=8.0, plies=("cloth 280", "cloth 280"),
            ),
        ),
        schedule=Schedule(
            plies=(Ply(cloth="cloth 200"), Ply(cloth="cloth 280"), Ply(cloth="cloth 280")),
            resin=from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 40.0), pot_life_min=40.0),
        ),
        foam="xps 35",
        stack=Stack(axis="z", thicknesses=(sheet,), allowance=allowance, spare_thickness="both"),
    )
