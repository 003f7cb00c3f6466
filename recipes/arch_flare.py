"""A wheel-arch flare for a small van, built on a flat backing board with the arch cut out of it."""

import math

from plugs import (
    RESINS, Along, Corner, Form, Plug, Ply, Schedule, Skin, Stack, Station, Stock, from_data_sheet,
)


def arch_flare(
    opening=600.0,        # of the arch, across
    wide=80.0,            # of the flare at the crown of the arch
    tail=50.0,            # at its two ends
    bulge=55.0,           # how far it stands out of the panel at the crown
    edge_radius=16.0,     # blend along its outer edge
    leg=60.0,             # straight down below the half circle, at either end
    sheet=30.0,
):
    """Flare lying on its back: x runs along the van, y up it from the hub, z out of the panel."""
    r = opening / 2
    length = math.pi * r + 2 * leg
    edge = r + wide + 30.0                        # of the backing board

    def section(x, out, rise):                    # y + is away from the hub
        return Station(
            x=x,
            corners={
                "back":  Corner(-15.0,      -15.0,      0.0),
                "heel":  Corner(out,        -15.0,      0.0),
                "toe":   Corner(out,        -6.0,       0.0),
                "edge":  Corner(0.5 * out,  rise,       edge_radius),
                "brow":  Corner(-15.0,      0.9 * rise, 0.0),
            },
        )

    flare = Form(
        name="flare", kind="add", mirrored=False, bays="faired within",
        panels=("underside", "foot", "slope", "face", "inside"),
        along=Along(                              # up from the front end, over and down again
            view="plan", points=((-r, -leg), (-r, r, r), (r, r, r), (r, -leg)),
        ),
        stations=(
            section(0.0, tail, 0.6 * bulge),
            section(0.25 * length, 0.9 * wide, 0.92 * bulge),
            section(0.50 * length, wide, bulge),
            section(0.75 * length, 0.9 * wide, 0.92 * bulge),
            section(length, tail, 0.6 * bulge),
        ),
    )

    def arch(x):                                  # cut through board and flare, its own x up
        low, full = -leg - 20.0, 0.999 * r
        return Station(x=x, corners={
            "a": Corner(low, -r), "b": Corner(r, -r, full), "c": Corner(r, r, full), "d": Corner(low, r),
        })

    hole = Form(
        name="opening", kind="cut", mirrored=False, panels=("rear edge", "crown", "front edge", "sill"),
        stations=(arch(-sheet - 10.0), arch(bulge + 10.0)), turn_deg=(0.0, -90.0, 0.0),
    )

    def board(x):
        return Station(x=x, corners={
            "a": Corner(-leg, -sheet), "b": Corner(edge, -sheet), "c": Corner(edge, 0.0), "d": Corner(-leg, 0.0),
        })

    return Plug(
        name="Arch flare",
        panels=("back", "top edge", "panel", "sill"),
        mirrored=False,
        stations=(board(-edge), board(edge)),
        forms=(flare, hole),
        skin=Skin(no_laminate=("back", "top edge", "sill", "front", "rear")),
        schedule=Schedule(
            plies=[Ply(cloth="cloth 280"), Ply(cloth="cloth 280")],
            resin=from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 40.0), pot_life_min=40.0),
        ),
        stack=Stack(axis="z", thicknesses=(sheet,), allowance=3.0),
        stock=(Stock(width=1250.0, height=600.0, thickness=sheet),),
    )
