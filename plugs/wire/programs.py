"""What is written for a wire cutter: programs with their proof, and what is doubtful about them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.wire.cuts import Cut
from plugs.wire.lots import LeftOut, Lots, lot_of, repeated
from plugs.wire.machine import Kerf, Standing, kerf_of, speeds_along
from plugs.wire.planned import Planned, plan_lot
from plugs.wire.program import SlotTest, program_of, rows_of, slot_test
from plugs.wire.proof import Proof, Told, prove_all
from plugs.wire.reading import Dialect, Ran, read_back
from plugs.wire.words import WireCutter, axes_of

Array = NDArray[np.float64]

TOLD_MM: Final = 0.3
"""mm. A cut into the body that a builder is told of: more than a stroke of the sanding block."""
_SLOWER: Final = 0.9
"""Of the slowest feed measured: what is slower is told."""
_INSIDE: Final = 2.0
"""mm. Of the edges of a block: nearer the wire may still be on its way in."""
NOT_REACHED: Final = {
    "hollow": "a hollow between the faces",
    "bulge": "a bulge between the faces",
    "end": "an end that runs out before a face",
    "recess": "a recess that no straight wire reaches",
}
"""What a straight wire does not reach, by its kind."""


@record(frozen=True, slots=True, kw_only=True)
class Used:
    """What a program uses of an axis.

    Attributes
    ----------
    letter : str
    from_mm, to_mm : float
        The places that it goes to.
    travel_ratio : float, dimensionless
        Of its travel.
    """

    letter: str
    from_mm: float
    to_mm: float
    travel_ratio: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class CutPiece:
    """A piece as a program leaves it.

    Attributes
    ----------
    cut : Cut
    standing : Standing
    sheet : int
        Of the sheets that the program cuts, from 1.
    proof : Proof
    slits : tuple of str
        Names of the cuts through it.
    """

    cut: Cut
    standing: Standing
    sheet: int
    proof: Proof
    slits: tuple[str, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class WireProgram:
    """A program with its pieces, as it was read back.

    Attributes
    ----------
    planned : Planned
    text : str
    ran : Ran
    pieces : tuple of CutPiece
        Sheet by sheet, those of each in the order in which they come off.
    axes : tuple of Used
    feed_ratio : float, dimensionless
        Of the feed that the busier end can follow.
    """

    planned: Planned
    text: str
    ran: Ran
    pieces: tuple[CutPiece, ...]
    axes: tuple[Used, ...]
    feed_ratio: float

    @property
    def name(self) -> str:
        """Of the piece or the sheet."""
        return self.planned.lot.name

    @property
    def sheets(self) -> int:
        """How many blocks or sheets are cut by it."""
        return 1 + len(self.planned.lot.copies)

    @property
    def foam_left_mm(self) -> float:
        """The largest on any of its pieces."""
        return max(piece.proof.foam_left_mm for piece in self.pieces)

    @property
    def cut_in_mm(self) -> float:
        """The deepest cut into any of its pieces."""
        return max(piece.proof.cut_in_mm for piece in self.pieces)

    @property
    def seconds(self) -> float:
        """That it takes, s."""
        return float(self.ran.seconds.sum())

    @property
    def length_mm(self) -> float:
        """Of the wire's way half-way between the ends, mm."""
        middle = 0.5 * (self.ran.ends[:, :2] + self.ran.ends[:, 2:])
        return float(np.hypot(*np.diff(middle, axis=0).T).sum())


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Wired:
    """All that is cut by wire.

    Attributes
    ----------
    machine : WireCutter
    programs : tuple of WireProgram
    slots : SlotTest
    findings : tuple of Finding
    """

    machine: WireCutter
    programs: tuple[WireProgram, ...]
    slots: SlotTest
    findings: tuple[Finding, ...]


def write_programs(lots: Lots, machine: WireCutter, title: str, allowance: float) -> Wired:
    """Return the programs of some lots, each read back and proved; what is left out of one has its own.

    Parameters
    ----------
    lots : Lots
    machine : WireCutter
    title : str
        Of the plug.
    allowance : float, mm
        Left for sanding: no program may cut deeper into the body.

    Returns
    -------
    Wired

    Raises
    ------
    PlugError
        The machine has no room or no travel for a piece; a program would spoil it.
    """
    plans, left_out = [], list(lots.aside)
    for lot in repeated(lots.lots):
        try:
            plan = plan_lot(lot, machine)
        except PlugError as fault:
            if lot.sheet is None or fault.param == "wire.how":
                raise
            words = fault.reason, fault.remedy
            left_out += [
                LeftOut(cut=one.cut, reason=words[0], remedy=words[1])
                for sheet in (lot, *lot.copies)
                for one in sheet.lain
            ]
        else:
            plans.append(plan)
            left_out += plan.left_out
    plans += [plan_lot(lot_of(one.cut), machine) for one in left_out]
    programs = tuple(_program(plan, machine, title, allowance) for plan in plans)
    return Wired(
        machine=machine,
        programs=programs,
        slots=slot_test(machine),
        findings=(
            *guessed(
                kerf_of(machine),
                f"machine {machine.name!r}",
                "cut wire/slot-test.ngc, write the widths on wire/slot-test.csv, and give them as kerf",
            ),
            *_beyond(machine, programs),
            *_by_themselves(left_out),
            *left_over([piece.cut for one in programs for piece in one.pieces]),
            *_proved(programs),
        ),
    )


def _program(planned: Planned, machine: WireCutter, title: str, allowance: float) -> WireProgram:
    """Return a program, read back and proved for all that is cut by it."""
    text = program_of(planned, machine, title)
    near, up, far, far_up = (axis.letter for axis in axes_of(machine))
    dialect = Dialect(
        letters=(near, up, far, far_up),
        inverse_time=machine.inverse_time,
        feed_along=machine.feed_along,
        wire_on=machine.wire_on,
        wire_off=machine.wire_off,
    )
    ran = read_back(text, dialect, planned.lot.name, ("wire.machine.begins", machine.begins))
    return WireProgram(
        planned=planned,
        text=text,
        ran=ran,
        pieces=_pieces(planned, ran, allowance),
        axes=_axes_used(ran, machine),
        feed_ratio=_feed_used(ran, machine),
    )


def _pieces(planned: Planned, ran: Ran, allowance: float) -> tuple[CutPiece, ...]:
    """Return the pieces that a program leaves, each proved."""
    first, kerf = planned.lot, planned.kerf
    asked = []
    for sheet, lot in enumerate((first, *first.copies), start=1):
        for i in planned.journey.freed:
            slits = planned.slits(first.lain[i].cut.name)
            asked.append((sheet, lot.lain[i].cut, lot.lain[i].standing(planned.standing), slits))
    told = [
        Told(
            standing=standing,
            kerf=kerf,
            solid=cut.solid,
            faces=(cut.from_mm, cut.to_mm),
            slits=[ways for _, ways in slits],
        )
        for _, cut, standing, slits in asked
    ]
    found = []
    for (sheet, cut, standing, slits), proof in zip(asked, prove_all(ran, told), strict=True):
        _check_proof(cut, proof, allowance)
        names = tuple(name for name, _ in slits)
        found.append(CutPiece(cut=cut, standing=standing, sheet=sheet, proof=proof, slits=names))
    return tuple(found)


def _check_proof(cut: Cut, proof: Proof, allowance: float) -> None:
    """Refuse a program that would spoil its piece."""
    most = max(allowance, TOLD_MM)
    if proof.cut_in_mm > most:
        raise PlugError(
            param="wire.how",
            value=cut.name,
            reason=f"read back, the program of {cut.name} would cut {proof.cut_in_mm:.2f} mm into the body, "
            f"and {most:g} mm are left for sanding; nothing is written",
            remedy=f'cut it upright: how={{"{cut.name}": "upright"}}, or leave an allowance of '
            f"{proof.cut_in_mm + TOLD_MM:.1f} mm",
        )


def _axes_used(ran: Ran, machine: WireCutter) -> tuple[Used, ...]:
    """Return what a program uses of each axis."""
    return tuple(
        Used(
            letter=axis.letter,
            from_mm=float(places.min()),
            to_mm=float(places.max()),
            travel_ratio=float(np.ptp(places)) / (axis.most - axis.least),
        )
        for axis, places in zip(axes_of(machine), ran.ends.T, strict=True)
    )


def _feed_used(ran: Ran, machine: WireCutter) -> float:
    """Return what a program uses of the feed that the ends can follow."""
    step, took = np.diff(ran.ends, axis=0), ran.seconds[1:]
    moves = took > 0.0
    speeds = [60.0 * np.hypot(*step[moves, c : c + 2].T) / took[moves] for c in (0, 2)]
    return max(float(v.max(initial=0.0)) / most for v, most in zip(speeds, machine.most_feed, strict=True))


def guessed(kerf: Kerf, where: str, remedy: str) -> list[Finding]:
    """Return the finding that nobody has measured the slot.

    Parameters
    ----------
    kerf : Kerf
    where, remedy : str
    """
    if not kerf.is_guess:
        return []
    width = as_length(float(kerf.widths[0]), "g")
    return [
        Finding(
            code="wire-kerf-guessed",
            severity="mind",
            where=where,
            message=f"the slot is taken to be {width} wide, which is a guess: "
            "every piece comes out too large or too small by what it is off",
            remedy=remedy,
        )
    ]


def _beyond(machine: WireCutter, programs: Sequence[WireProgram]) -> list[Finding]:
    """Return the finding that a wire goes slower through the foam than any slot was measured at."""
    if not machine.kerf:
        return []
    slowest = [(_slowest(one, machine), one.name) for one in programs]
    feed, name = min(slowest)
    measured = machine.kerf[0][0]
    if feed >= _SLOWER * measured:
        return []
    names = [other for speed, other in slowest if speed < _SLOWER * measured]
    return [
        Finding(
            code="wire-beyond-slots",
            severity="note",
            where=", ".join(names),
            message=f"the wire goes as slowly as {as_length(feed, '.0f')} a minute at a face of {name}; "
            f"the slowest slot was measured at {as_length(measured, 'g')}, and what melts there follows the "
            "law of the two slowest",
            remedy=f"measure one more slot, at {as_length(max(feed, 0.2 * measured), '.0f')} a minute, "
            "or cut faster",
        )
    ]


def _slowest(one: WireProgram, machine: WireCutter) -> float:
    """Return the slowest that a program takes the hot wire along its piece at either face, mm a minute."""
    standing = one.planned.standing
    lean = (one.ran.ends[:, 2:] - one.ran.ends[:, :2]) / standing.span
    faces = [
        one.ran.ends[:, :2] + place * lean for place in (standing.at[2], standing.at[2] + standing.size[2])
    ]
    (left, bottom, _), (wide, high, _) = standing.at, standing.size
    least, most = np.array([left, bottom]) + _INSIDE, np.array([left + wide, bottom + high]) - _INSIDE
    inner = np.all([((face > least) & (face < most)).all(axis=1) for face in faces], axis=0)
    way = one.planned.journey
    rows = rows_of(one.planned, machine)[one.planned.before :][: len(way.near)]
    is_cut = np.isin(np.arange(len(inner)), rows[way.is_cut])
    speeds = [speeds_along(face, one.ran.seconds)[inner & one.ran.is_hot & is_cut] for face in faces]
    return min(float(speed.min(initial=np.inf)) for speed in speeds)


def _by_themselves(left_out: Sequence[LeftOut]) -> list[Finding]:
    """Return the pieces of sheets that are cut by programs of their own, why, and what would do."""
    whys = dict.fromkeys((one.reason, one.remedy) for one in left_out)
    return [
        Finding(
            code="wire-by-itself",
            severity="note",
            where=", ".join(one.cut.name for one in left_out if (one.reason, one.remedy) == why),
            message=f"cut from a block of its own, by a program of its own: {why[0]}",
            remedy=why[1],
        )
        for why in whys
    ]


def left_over(cuts: Sequence[Cut]) -> list[Finding]:
    """Return what the wire does not reach, kind by kind, with what to do by hand.

    Parameters
    ----------
    cuts : sequence of Cut

    Returns
    -------
    list of Finding
    """
    found = []
    for kind, words in NOT_REACHED.items():
        mine = [(one, left) for one in cuts for left in one.left if left.kind == kind]
        if not mine:
            continue
        worst, left = max(mine, key=lambda pair: pair[1].depth_mm)
        names = ", ".join(one.name for one, _ in mine)
        place = ", ".join(
            f"{axis} = {as_length(value, '.0f', 'bare')}"
            for axis, value in worst.place(worst.foam.where).items()
        )
        deep = (
            f", at most {as_length(left.depth_mm, '.1f')} in {worst.name} at {place}" if left.depth_mm else ""
        )
        twist = max(one.twist_deg for _, one in mine)
        turned = f"; the faces twist against each other by up to {twist:.0f} degrees" if twist else ""
        found.append(
            Finding(
                code=f"wire-{kind}",
                severity="note",
                where=names,
                message=f"foam is left over {words}{deep}{turned}",
                remedy=left.remedy,
            )
        )
    return found


def _proved(programs: Sequence[WireProgram]) -> list[Finding]:
    """Return the pieces that come out otherwise than planned."""
    found = []
    for one in (piece for program in programs for piece in program.pieces):
        deep = one.proof.cut_in_mm
        if deep > TOLD_MM:
            x, y, s = one.proof.where_in
            along, up, across = as_length(x, ".0f", "bare"), as_length(y, ".0f"), as_length(s, ".0f")
            found.append(
                Finding(
                    code="wire-cuts-in",
                    severity="mind",
                    where=one.cut.name,
                    message=f"read back, its program cuts {as_length(deep, '.2f')} into the body, {along} "
                    f"along, {up} up in the machine and {across} from the near face",
                    remedy=f"fill it there, or leave an allowance of {as_length(deep, '.1f', 'least')}",
                )
            )
    return found
