"""How dense blanks are nested on a strip: by default, and by the search where it is installed.

Run as ``python -m tests.bench.nesting [--seconds 30]``. The sets are made from seeds in the manner of the
classic ones (`tests.blanks`). Density is the area of the blanks over strip height times used length; a
jigsaw's best is 1.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from importlib.util import find_spec

import shapely

from plugs.foam.stock import Blank, Cutting, Stock
from plugs.nesting.nesting import Nesting, nest
from plugs.nesting.searched import nest_searched
from tests.blanks import blanks_of, garments, guillotine, jigsaw

HEIGHT = 1220.0
LENGTH = 12_000.0


def sets() -> dict[str, list[Blank]]:
    """Return the sets by name."""
    boxes = [shapely.box(0, 0, 10 * w, 10 * h) for w, h in guillotine(1, 2, 244, 122)]
    return {
        "garments 24, quarter turns": blanks_of(garments(11, 24)),
        "garments 40, quarter turns": blanks_of(garments(3, 40)),
        "garments 40, no turns but 180": blanks_of(garments(3, 40), turns="grain"),
        "garments 80, small": blanks_of(garments(7, 80, 110.0)),
        "jigsaw 16": blanks_of(jigsaw(1, 16, 2000.0, HEIGHT)),
        "jigsaw 40": blanks_of(jigsaw(2, 40, 3000.0, HEIGHT)),
        f"guillotine {len(boxes)}": blanks_of(boxes),
    }


def density(nesting: Nesting) -> float:
    """Return the area of the blanks over that of the used strip."""
    sheet = nesting.sheets[0]
    used = max(placement.outline.bounds[2] for placement in sheet.placements)
    return sheet.used_mm2 / (HEIGHT * used)


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0, help="for each search")
    seconds = parser.parse_args(arguments).seconds
    cutting = Cutting(kerf=0.0, spacing=0.0, edge_margin=0.0)
    strip = [Stock(width=LENGTH, height=HEIGHT, thickness=50.0)]
    has_search = find_spec("spyrrow") is not None
    print(f"{'set':<32}{'default':>10}{'CPU s':>8}{'searched':>10}{'points':>8}")
    for name, blanks in sets().items():
        start = time.process_time()
        plain = density(nest(blanks, strip, cutting))
        taken = time.process_time() - start
        row = f"{name:<32}{plain:>10.4f}{taken:>8.2f}"
        if has_search:
            found = density(nest_searched(blanks, strip, cutting, seconds=seconds))
            row += f"{found:>10.4f}{100.0 * (found - plain):>8.1f}"
        print(row)


if __name__ == "__main__":
    main()
