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
from plugs.wire.machine import Kerf, kerf_of, speeds_along
from plugs.wire.planned import Planned, plan_cut
from plugs.wire.program import SlotTest, program_of, slot_test
from plugs.wire.proof import Proof, Told, prove
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
class WireProgram:
    """A piece with its program, as it was read back.

    Attributes
    ----------
    planned : Planned
    text : str
    ran : Ran
    proof : Proof
    axes : tuple of Used
    feed_ratio : float, dimensionless
        Of the feed that the busier end can follow.
    """

    planned: Planned
    text: str
    ran: Ran
    proof: Proof
    axes: tuple[Used, ...]
    feed_ratio: float

    @property
    def cut(self) -> Cut:
        """The piece."""
        return self.planned.cut

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


def write_programs(cuts: Sequence[Cut], machine: WireCutter, title: str, allowance: float) -> Wired:
    """Return the programs of some pieces, each read back and proved.

    Parameters
    ----------
    cuts : sequence of Cut
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
    programs = tuple(_program(cut, machine, title, allowance) for cut in cuts)
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
            *left_over([one.cut for one in programs]),
            *_proved(programs),
        ),
    )


def _program(cut: Cut, machine: WireCutter, title: str, allowance: float) -> WireProgram:
    """Return the program of a piece, read back and proved."""
    planned = plan_cut(cut, machine)
    text = program_of(planned, machine, title)
    near, up, far, far_up = (axis.letter for axis in axes_of(machine))
    dialect = Dialect(
        letters=(near, up, far, far_up),
        inverse_time=machine.inverse_time,
        feed_along=machine.feed_along,
        wire_on=machine.wire_on,
        wire_off=machine.wire_off,
    )
    ran = read_back(text, dialect, cut.name, ("wire.machine.begins", machine.begins))
    ways = planned.journey
    slits = [(ways.near[[one.begin, one.finish]], ways.far[[one.begin, one.finish]]) for one in ways.slits]
    proof = prove(
        ran,
        Told(
            standing=planned.standing,
            kerf=planned.kerf,
            solid=cut.solid,
            faces=(cut.from_mm, cut.to_mm),
            slits=slits,
        ),
    )
    _check_proof(cut, proof, allowance)
    return WireProgram(
        planned=planned,
        text=text,
        ran=ran,
        proof=proof,
        axes=_axes_used(ran, machine),
        feed_ratio=_feed_used(ran, machine),
    )


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
    slowest = [(_slowest(one), one.cut.name) for one in programs]
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


def _slowest(one: WireProgram) -> float:
    """Return the slowest that a program takes the hot wire along its piece at either face, mm a minute."""
    standing = one.planned.standing
    lean = (one.ran.ends[:, 2:] - one.ran.ends[:, :2]) / standing.span
    faces = [
        one.ran.ends[:, :2] + place * lean for place in (standing.at[2], standing.at[2] + standing.size[2])
    ]
    (left, bottom, _), (wide, high, _) = standing.at, standing.size
    least, most = np.array([left, bottom]) + _INSIDE, np.array([left + wide, bottom + high]) - _INSIDE
    inner = np.all([((face > least) & (face < most)).all(axis=1) for face in faces], axis=0)
    speeds = [speeds_along(face, one.ran.seconds)[inner & one.ran.is_hot] for face in faces]
    return min(float(speed.min(initial=np.inf)) for speed in speeds)


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
    for one in programs:
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
