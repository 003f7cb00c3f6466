"""A roof fairing for a delivery cab: over 2.4 m wide, raked front, crowned panels, from a table of offsets."""

from pathlib import Path

from plugs import End, Joints, Pins, Plug, Stack, Stock, inch, read_table, stations_of


def cab_fairing(
    table="cab_fairing.csv",  # lines and stations, beside this recipe
    rake_deg=-20.0,           # the front leans back: its top stands behind its foot
    front_radius=60.0,
    rear_radius=0.0,          # sharp: the back is a flat face
    thick=inch(4),            # sheets, cycled: two thick ones, then a thin one
    thin=inch(2),
    allowance=inch(3 / 16),
):
    """Cab fairing in blue sheets of 4 in and 2 in, drawn in inches."""
    return Plug(
        name="Cab fairing",
        panels=("floor", "flank", "cheek", "roof"),
        stations=stations_of(read_table(Path(__file__).with_name(table))),
        bays="faired",
        front=End(radius=front_radius, rake_deg=rake_deg, sharp=("floor",)),
        rear=End(radius=rear_radius),
        stack=Stack(axis="z", thicknesses=(thick, thick, thin), allowance=allowance, spare_thickness="both"),
        stock=[Stock(width=inch(96), height=inch(48), thickness=t) for t in sorted({thick, thin})],
        joints=Joints(stagger=inch(4), stepped=True, step=inch(2)),   # the lower layers outgrow a sheet
        pins=Pins(diameter=inch(1 / 4)),
        paper="Letter",
        display_unit="in",
    )
