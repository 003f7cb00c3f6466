"""The picture of all recipes that the README shows, made anew when one of them has changed.

python -m tests.recipes.gallery
"""

from __future__ import annotations

import io
from typing import Final

from PIL import Image, ImageChops, ImageDraw, ImageFont

from plugs.mesh import mesh
from plugs.mesh.named import NamedMesh
from plugs.pictures.views import view_png
from tests.demos import RECIPES, at_defaults

SHOWN: Final = {
    "sidecar_tail": "rear right", "seat_hump": "rear right", "cab_fairing": "front left",
    "tank_cover": "rear right", "bonnet_scoop": "front left", "intake_scoop": "front left",
    "arch_flare": "rear right", "boot_lid": "rear right", "lamp_bucket": "rear right",
    "cyclecar_nose": "front left",
}  # fmt: skip
"""Each recipe, and whence it shows most."""

_CELL: Final = (360, 270)  # px
_COLUMNS: Final = 5
_TITLE: Final = 110  # px of a view that are its own title and sizes


def seen(demo: str, view: str) -> Image.Image:
    """Return a recipe's finished surface, cut out of its picture and fitted into a cell."""
    work = at_defaults(demo)
    vertices, triangles = mesh.triangles_of(work.finish.body)
    named = NamedMesh(name=demo, vertices=vertices, triangles=triangles, colour="#9fb8c8")
    whole = Image.open(io.BytesIO(view_png(named, view))).convert("RGB")
    whole = whole.crop((0, _TITLE, whole.width, whole.height))
    white = Image.new("RGB", whole.size, "white")
    cut = whole.crop(ImageChops.difference(whole, white).convert("L").point(lambda v: 255 * (v > 6)).getbbox())
    cut.thumbnail((_CELL[0] - 40, _CELL[1] - 60), Image.Resampling.LANCZOS)
    return cut


def main() -> None:
    """Write ``recipes/gallery.png``."""
    rows = -(-len(SHOWN) // _COLUMNS)
    sheet = Image.new("RGB", (_COLUMNS * _CELL[0], rows * _CELL[1]), "white")
    pen, font = ImageDraw.Draw(sheet), ImageFont.load_default(20.0)
    for i, (demo, view) in enumerate(SHOWN.items()):
        left, top = (i % _COLUMNS) * _CELL[0], (i // _COLUMNS) * _CELL[1]
        one = seen(demo, view)
        sheet.paste(one, (left + (_CELL[0] - one.width) // 2, top + (_CELL[1] - 40 - one.height) // 2 + 6))
        pen.text((left + _CELL[0] / 2, top + _CELL[1] - 16), demo, fill="#333333", font=font, anchor="ms")
    sheet.quantize(256).save(RECIPES / "gallery.png", optimize=True)


if __name__ == "__main__":
    main()
