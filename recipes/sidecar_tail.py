"""The tail of a three-wheeled touring outfit: flat deck, tumblehome sides, rounded stern with a number plate."""

from pathlib import Path

from plugs import (
    Corner, End, Mating, Plug, Ply, Recess, Schedule, Shop, Skin, Stack, Station, Stock, Templates,
    RESINS, from_data_sheet, fair, read_outline,
)


def sidecar_tail(
    length=900.0,          # along the outfit, from the joint with the tub (x = 0) to the stern
    width=1200.0,          # over the chines at the joint
    height=320.0,          # baseline to deck edge at the joint
    stern_width=1040.0,    # over the chines at the stern
    stern_height=270.0,    # baseline to deck edge at the stern
    tumblehome=45.0,       # how far the deck edge stands inside the chine, each side
    deck_radius=50.0,      # blend along the edges of the deck
    chine_radius=12.0,     # blend along the bottom edges
    stern_radius=50.0,     # blend round the stern
    tub="sidecar_tub.csv",  # rear edge of the tub in plan, measured: x and y
    gap=1.5,               # between the tub and the tail
    flange_width=25.0,     # turned in along the tub
    filler=0.4,            # filler and paint over the laminate
    shop_c=20.0,           # temperature of shop, foam and resin
    plate="eu-one-line",   # us-canada-car, uk-one-line, australia, japan; the tall uk-two-line and
                           # eu-two-line want a stern_height of 280 and 320
    plate_depth=12.0,
    sheet=50.0,            # foam sheet thickness
    allowance=4.0,         # foam left high all round, for the sanding block
    ply=6.0,               # template plywood
    paper="A4",            # for the full-size outlines; 914 is a roll 914 mm wide
):
    """Tail for the touring outfit, sanded from 50 mm foam standing on its baseboard."""

    def station(x, breadth, z):
        return Station(
            x=x,
            corners={
                #                     half-breadth            height  blend
                "chine":     Corner(breadth / 2,              0.0,    chine_radius),
                "deck edge": Corner(breadth / 2 - tumblehome, z,      deck_radius),
            },
        )

    measured = read_outline(Path(__file__).with_name(tub), columns=("x", "y")).points

    return Plug(
        name="Sidecar tail",
        panels=("floor", "side", "deck"),      # from the bottom of the section up
        stations=(
            station(-20.0, width, height),     # 20 mm more, to be cut to the tub
            station(length / 2, (0.58 * width + 0.42 * stern_width), (0.55 * height + 0.45 * stern_height)),
            station(length, stern_width, stern_height),
        ),
        bays="straight",                       # a long block sands it from template to template
        rear=End(radius=stern_radius, sharp=("floor",)),   # the floor stands on the baseboard
        mating=(
            Mating(
                name="joint with the tub", view="plan", cuts="front", contour=fair(measured, tolerance=0.5),
                measured=measured, gap=gap, flange_width=flange_width,
            ),
        ),
        recesses=(
            Recess(
                name="number plate", panel="rear", y=0.0, z=(stern_height - stern_radius) / 2, plate=plate,
                clearance=3.0, depth=plate_depth, draft_deg=5.0, floor_radius=min(6.5, 0.8 * plate_depth),
            ),
        ),
        skin=Skin(filler=filler, no_laminate=("floor", "front")),     # the schedule makes the thickness
        schedule=Schedule(
            plies=(
                Ply(cloth="cloth 280", name="first skin"),
                Ply(cloth="biaxial 300", name="strength 1"),
                Ply(cloth="biaxial 300", name="strength 2"),
                Ply(cloth="cloth 200", name="finish", bias_deg=45.0),
            ),
            resin=from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 40.0), pot_life_min=40.0),
        ),
        shop=Shop(temperature_c=shop_c, minutes_per_m2=12.0),
        foam="xps 35",
        foam_stays=False,                      # dug out once the skin is hard
        stack=Stack(axis="z", thicknesses=(sheet,), allowance=allowance),
        stock=(Stock(width=2500.0, height=1250.0, thickness=sheet),),
        templates=Templates(
            thickness=ply, stations=(length / 2, length - 80.0), lengthwise=(0.0,),
            waterlines=(100.0, 200.0),
        ),
        paper=paper,
    )
