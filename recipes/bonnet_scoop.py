"""A bonnet scoop: foam bays between plywood templates, glued up template, foam, template."""

from pathlib import Path

from plugs import Corner, End, Glue, Pins, Plug, Sanding, Stack, Station, Stock, Templates, WireWork, read_machine

MACHINE = Path(__file__).with_name("machines") / "wire_cutter.py"


def bonnet_scoop(
    length=460.0,
    mouth_width=300.0,     # over the foot, at the open end
    mouth_height=95.0,
    tail_width=210.0,
    tail_height=26.0,      # where it runs out into the bonnet
    shoulder_radius=24.0,  # blend between flank and top
    crown=7.0,             # rise of the top over its chord at the mouth
    sheet=50.0,            # foam
    thin_sheet=20.0,       # fills the bays that the thick one does not
    ply=3.0,               # templates
    allowance=3.0,
    by_wire=False,         # bays glued up as blocks, and cut on the shop's wire cutter
):
    """Scoop for a bonnet, sanded down to the edges of the templates that stay inside it."""

    def station(x, share, radius):
        half = share * mouth_width / 2 + (1 - share) * tail_width / 2
        z = share * mouth_height + (1 - share) * tail_height
        return Station(
            x=x,
            corners={
                #                  half-breadth    height  blend
                "foot":     Corner(half,           0.0,    0.0),
                "shoulder": Corner(half - 0.35 * z, z,     radius),
            },
            crowns={"top": crown * share},
        )

    return Plug(
        name="Bonnet scoop",
        panels=("floor", "flank", "top"),
        stations=(
            station(0.0,           1.00, shoulder_radius),
            station(0.40 * length, 0.86, 0.9 * shoulder_radius),
            station(0.75 * length, 0.42, 0.7 * shoulder_radius),
            station(length,        0.00, 0.4 * shoulder_radius),
        ),
        bays="faired",
        front=End(),
        rear=End(radius=6.0, sharp=("floor",)),
        stack=Stack(
            axis="x", thicknesses=(sheet, thin_sheet), allowance=allowance, between_templates=True,
        ),
        stock=[Stock(width=1250.0, height=600.0, thickness=t) for t in sorted({sheet, thin_sheet})],
        templates=Templates(
            thickness=ply, stations=(0.0, 0.4 * length, 0.75 * length), lengthwise=(0.0,),
            waterlines=(40.0, 80.0), bit_diameter=min(ply, 3.0), screw_diameter=3.0, hole_margin=8.0,
        ),
        glue=Glue(margin=6.0),                   # little room: keep it off the edges with care
        pins=Pins(diameter=4.0, clearance=2.0),
        sanding=Sanding(straightedge=300.0),
        paper="A3",
        foam="eps 22" if by_wire else None,
        wire=WireWork(cut="bays", machine=read_machine(MACHINE)) if by_wire else None,
    )
