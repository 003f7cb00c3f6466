"""The process that renders drawings: batches of them come in, files go out."""

from __future__ import annotations

import pickle
import sys
from collections.abc import Mapping, Sequence
from typing import IO, Any

from plugs.drafting.picture import Drawing
from plugs.files.drawing_run import PaperJob, Printed, Rendered


def render_files(drawings: Mapping[str, Drawing], kinds: Sequence[str]) -> dict[str, bytes]:
    """Return drawings as files.

    Parameters
    ----------
    drawings : mapping of str to Drawing
        By path in the folder, without ending.
    kinds : sequence of str
        Of "dxf" and "svg"; others are passed over.

    Returns
    -------
    dict of str to bytes
        By path in the folder.
    """
    files: dict[str, bytes] = {}
    if "dxf" in kinds:
        from plugs.files.dxf import render_dxf

        files |= {f"{stem}.dxf": render_dxf(drawing).encode() for stem, drawing in drawings.items()}
    if "svg" in kinds:
        from plugs.files.svg import render_svg

        files |= {f"{stem}.svg": render_svg(drawing).encode() for stem, drawing in drawings.items()}
    return files


def render_paper(drawings: Mapping[str, Drawing], job: PaperJob) -> tuple[bytes, tuple[Printed, ...], int]:
    """Return drawings as a PDF at full size.

    Parameters
    ----------
    drawings : mapping of str to Drawing
        All that the job names, by path without ending.

    Returns
    -------
    tuple of bytes, tuple of Printed and int
        The PDF, what each drawing takes of it, and how many pages it has.
    """
    from plugs.paper.map import map_sheets
    from plugs.paper.pages import plan_pages
    from plugs.paper.pdf import render_pdf

    chosen = [drawings[stem] for stem in job.stems]
    plan = plan_pages(chosen, job.paper)
    printed = []
    for i, stem in enumerate(job.stems):
        spots = [spot for page in plan.pages for spot in page.spots if spot.drawing == i]
        printed.append(Printed(stem=stem, pages=len(spots), is_turned=any(spot.turned for spot in spots)))
    maps = map_sheets(plan, chosen, title=job.title)
    text = render_pdf(chosen, plan, title=job.title, maps=maps)
    return text, tuple(printed), len(plan.pages) + len(maps)


def serve(kinds: Sequence[str], source: IO[bytes], sink: IO[bytes]) -> None:
    """Render batches of drawings and print paper until None comes: the process's side.

    Parameters
    ----------
    kinds : sequence of str
        Of "dxf", "svg" and "pdf".
    source, sink : binary file
        Where pickled batches come from, and where the answer goes.
    """
    _load(kinds)
    drawings: dict[str, Drawing] = {}
    files: dict[str, bytes] = {}
    printed: tuple[Printed, ...] = ()
    n_pages = 0
    batch: Any = pickle.load(source)
    while batch is not None:
        if isinstance(batch, PaperJob):
            files[batch.path], printed, n_pages = render_paper(drawings, batch)
        else:
            drawings |= batch
            files |= render_files(batch, kinds)
        batch = pickle.load(source)
    made = Rendered(files=files, printed=printed, n_pages=n_pages)
    pickle.dump(made, sink, protocol=pickle.HIGHEST_PROTOCOL)


def _load(kinds: Sequence[str]) -> None:
    """Load what will be needed."""
    if "dxf" in kinds:
        from plugs.files.dxf import load_library

        load_library()
    if "pdf" in kinds:
        from plugs.paper.pdf import load_library as load_pdf_library

        load_pdf_library()


if __name__ == "__main__":
    serve(sys.argv[1:], sys.stdin.buffer, sys.stdout.buffer)
