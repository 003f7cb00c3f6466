"""An intake scoop for the side of a camper: a tapering duct from its mouth to a hose behind the panel."""

from plugs import (
    RESINS, Corner, End, Form, Plug, Ply, Schedule, Skin, Stack, Station, Stock, from_data_sheet,
)


def intake_scoop(
    length=420.0,
    width=240.0,          # over the foot
    height=120.0,         # a little behind the mouth
    mouth_width=150.0,    # of the duct
    mouth_height=62.0,
    hose=80.0,            # side of the square that the duct narrows to, where it leaves through the floor
    sheet=40.0,
):
    """Scoop laid on its back: the floor goes against the panel, the duct is cut down through it."""

    def station(x, share, z):
        half = share * width / 2
        return Station(
            x=x,
            corners={
                #                  half-breadth  height  blend
                "foot":     Corner(half,         0.0,    0.0),
                "shoulder": Corner(0.82 * half,  z,      min(28.0, 0.45 * z)),
            },
        )

    def opening(x, wide, low, high):
        r = 0.3 * min(wide, high - low)
        return Station(x=x, corners={"low": Corner(wide / 2, low, r), "high": Corner(wide / 2, high, r)})

    middle = 0.5 * height                         # of the mouth
    hose_x, run = 0.62 * length, 0.62 * length - 0.5 * hose
    duct = Form(                                  # along the scoop, as far as over the hose
        name="duct", kind="cut", panels=("bottom", "flank", "roof"), bays="faired",
        stations=(
            opening(-10.0,     1.04 * mouth_width, middle - 0.52 * mouth_height, middle + 0.52 * mouth_height),
            opening(0.5 * run, 0.5 * (mouth_width + hose), middle - 0.48 * mouth_height,
                    middle + 0.48 * mouth_height),
            opening(run + hose, hose, middle - 0.45 * mouth_height, middle + 0.45 * mouth_height),
        ),
        rear=End(radius=12.0),
    )
    stub = Form(                                  # square to the floor: its own x runs up
        name="stub", kind="cut", panels=("rear wall", "side wall", "front wall"),
        stations=[opening(x, 0.98 * hose, -0.49 * hose, 0.49 * hose) for x in (-10.0, middle)],
        move=(hose_x, 0.0, 0.0), turn_deg=(0.0, -90.0, 0.0),
    )

    return Plug(
        name="Intake scoop",
        panels=("floor", "flank", "top"),
        stations=(
            station(0.0,           0.92, 0.94 * height),
            station(0.30 * length, 1.00, height),
            station(0.70 * length, 0.86, 0.86 * height),
            station(length,        0.50, 0.30 * height),
        ),
        bays="faired",
        front=End(radius=8.0, sharp=("floor",)),
        rear=End(radius=8.0, sharp=("floor",)),
        forms=(duct, stub),
        skin=Skin(no_laminate=("floor",)),
        schedule=Schedule(
            plies=[Ply(cloth="cloth 280"), Ply(cloth="cloth 280")],
            resin=from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 40.0), pot_life_min=40.0),
        ),
        stack=Stack(axis="z", thicknesses=(sheet,), allowance=3.0),
        stock=(Stock(width=1250.0, height=600.0, thickness=sheet),),
    )
