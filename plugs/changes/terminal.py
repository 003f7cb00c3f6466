"""What the commands say on a terminal of builds that are kept."""

from __future__ import annotations

from plugs.changes.record import Record
from plugs.ground.amounts import amount
from plugs.ground.units import format_length


def record_rows(record: Record | None) -> list[str]:
    """Return the rows that say which build is marked as the one that foam was cut from.

    Parameters
    ----------
    record : Record or None

    Returns
    -------
    list of str
    """
    if record is None:
        return ["cut       no build is marked any more"]
    figures, unit = record.figures, record.unit
    size = " x ".join(format_length(figures[key], unit) for key in ("length_mm", "breadth_mm", "height_mm"))
    named = [f"{name} = {value}" for name, value in record.parameters.items()]
    return [
        f"cut       {record.title}, {size}, {amount('volume_m3', figures['volume_m3'], unit)}",
        f"with      {', '.join(named) or 'no parameters'}",
        "from now  every build of this recipe tells what changed against it; --undo takes that back",
    ]
