"""A cover for the tank of a small motorcycle, laid up over measured sections and faired lengthwise."""

from pathlib import Path

from plugs import Corner, End, Plug, Skin, Stack, Station, between, fair, mirrored, read_outline


def tank_cover(
    measured="tank_cover.csv",  # half sections, from the rail up to the middle of the top, beside this recipe
    length=420.0,
    fairness=0.7,           # a curve may leave the measured points by so much
    shoulder_radius=18.0,   # blend along the shoulders, not less than the ends'
    end_radius=16.0,        # blend round the tail; the head's is half of it
    skin=2.0,               # laminate and filler over the foam
    sheet=40.0,             # foam sheet thickness
    allowance=3.0,          # foam left high all round, for the sanding block
):
    """Tank cover, five measured sections, every line faired like a batten through them."""

    def station(share, name, rail, shoulder):
        half = read_outline(Path(__file__).with_name(measured), name=name)
        marks = {
            "rail": rail, "shoulder": shoulder,
            "port shoulder": (-shoulder[0], shoulder[1]), "port rail": (-rail[0], rail[1]),
        }
        parts = between(mirrored(half, y=0.0), marks)
        flank, top = parts["rail", "shoulder"], parts["shoulder", "port shoulder"]
        return Station(
            x=share * length,
            corners={"rail": Corner(*rail), "shoulder": Corner(*shoulder, shoulder_radius)},
            curves={
                "flank": fair(flank, tolerance=fairness, landmarks=(rail, shoulder)),
                "top": fair(top, tolerance=fairness, landmarks=(shoulder, marks["port shoulder"])),
            },
        )

    return Plug(
        name="Tank cover",
        panels=("floor", "flank", "top"),
        stations=(
            #        along  section        rail          shoulder
            station(0.00, "head",       (58.0, 0.0),  (78.0, 96.0)),
            station(0.24, "knee front", (96.0, 0.0),  (112.0, 118.0)),
            station(0.50, "saddle",     (104.0, 0.0), (118.0, 122.0)),
            station(0.76, "knee back",  (88.0, 0.0),  (94.0, 106.0)),
            station(1.00, "tail",       (52.0, 0.0),  (56.0, 74.0)),
        ),
        bays="faired",
        front=End(radius=end_radius / 2, sharp=("floor",)),
        rear=End(radius=end_radius, sharp=("floor",)),   # the floor stands on the baseboard
        skin=Skin(thickness=skin, no_laminate=("floor",)),
        stack=Stack(axis="z", thicknesses=(sheet,), allowance=allowance, spare_thickness="both"),
    )
