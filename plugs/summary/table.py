"""Tables of figures, one row to a figure: summary and CSV file of a subject are both written from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Generic, TypeVar

from plugs.ground.figures import cell
from plugs.ground.records import record

Record = TypeVar("Record")


@record(frozen=True, slots=True)
class Figure(Generic[Record]):
    """A figure of a subject.

    Attributes
    ----------
    key : str
        In summary.json, with its unit: ``"sheet_mm"``. Empty: the CSV file alone has it.
    of : callable
        Gives it of a record.
    head : str
        Of its column in the CSV file. Empty: the summary alone has it.
    parts : Table or None
        Of the record that ``of`` gives: what the figure is made of.
    """

    key: str
    of: Callable[[Record], Any]
    head: str = ""
    parts: Table[Any] | None = None


class Table(Generic[Record]):
    """The figures of a subject.

    Parameters
    ----------
    *figures : Figure
        In the order of keys and of columns.
    """

    def __init__(self, *figures: Figure[Record]) -> None:
        """Keep the figures."""
        self.figures = figures

    @property
    def heads(self) -> list[str]:
        """The heads of the columns, in order; of parts after that of the figure."""
        return [
            f"{figure.head} {part}".rstrip()
            for figure in self.figures
            if figure.head
            for part in ([""] if figure.parts is None else figure.parts.heads)
        ]

    def told(self, record: Record) -> dict[str, Any]:
        """Return the figures of a record by their keys, as they are: the summary rounds all at its end."""
        return {
            figure.key: figure.of(record) if figure.parts is None else figure.parts.told(figure.of(record))
            for figure in self.figures
            if figure.key
        }

    def row(self, record: Record, *, bench: bool = False, unknown: str = "") -> list[str]:
        """Return the cells of a record, for the wall or for programs; ``unknown`` stands for None."""
        cells: list[str] = []
        for figure in self.figures:
            if figure.head and figure.parts is not None:
                cells += figure.parts.row(figure.of(record), bench=bench, unknown=unknown)
            elif figure.head:
                value = figure.of(record)
                cells.append(cell(value, figure.key or figure.head, bench=bench, unknown=unknown))
        return cells

    def rows(self, records: Iterable[Record], *, bench: bool = False, unknown: str = "") -> list[list[str]]:
        """Return the heads, and the cells of every record."""
        return [self.heads, *(self.row(record, bench=bench, unknown=unknown) for record in records)]
