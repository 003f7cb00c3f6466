"""A lamp bucket: a half-round pod from three cardboard templates, with a dome behind the lamp."""

from plugs import Corner, End, Plug, Skin, Stack, Station


def lamp_bucket(
    length=260.0,
    width=190.0,           # over the foot of the template at the lamp
    wall=30.0,             # of the first template: upright so far, then round
    top=130.0,             # height of the first template in its middle
    tail=0.85,             # the last template, as a share of the first
    dome=36.0,             # radius at the rear, where the pod closes
    skin=2.0,              # laminate and filler over the foam
    sheet=40.0,
    allowance=3.0,
):
    """Pod over a headlamp, each section an upright wall and an arc through the top of its template."""

    def station(x, share):
        half, foot = share * width / 2, share * wall
        return Station(
            x=x,
            corners={"foot": Corner(half, 0.0), "shoulder": Corner(half, foot)},
            arcs={"roof": (0.0, share * top)},   # a point that the template's edge goes through
        )

    return Plug(
        name="Lamp bucket",
        panels=("floor", "wall", "roof"),
        stations=(station(0.0, 1.0), station(0.5 * length, 0.95), station(length, tail)),
        bays="faired within",
        rear=End(radius=dome, sharp=("floor",)),
        skin=Skin(thickness=skin, no_laminate=("floor", "front")),
        stack=Stack(axis="z", thicknesses=(sheet,), allowance=allowance, spare_thickness="both"),
    )
