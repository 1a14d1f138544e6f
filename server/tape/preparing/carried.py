"""What a decoding carries, taken off the tape so that it can be written anew."""

from dataclasses import replace

from server.tape.basic.program import LEAD, program_from_text
from server.tape.errors import CannotPrepare
from server.tape.findings import Finding, Severity, place
from server.tape.formats.base import Decoding
from server.tape.material import Kind, Material
from server.tape.preparing.plan import Plan, targets

_MEANINGLESS = frozenset({"unknown-token", "token-in-text", "control-character"})
"""Findings on a crunched line of which the listing shows no character that could be typed."""


def carried(plan: Plan) -> Material:
    """What the held tape carries, as the kind that suits the format of `plan` best.

    Raises:
        CannotPrepare: the tape carries several programs, or is damaged and that is not accepted,
            or the format has no way to carry what is there.
    """
    _one_program(plan)
    _whole(plan)
    kind = _kind(plan)
    material = material_of(plan.source.decoding, kind, plan.how.load_address)
    if kind is Kind.BASIC:
        _readable(plan)
        name = plan.how.program_name or material.name or ("" if plan.held is plan.format else "A")
        material = replace(material, name=name)
    if plan.how.leave_entry_out:
        material = replace(material, entry_address=None)
    if not any((material.memory, material.typed, material.data)):
        raise CannotPrepare(
            "the tape carries nothing that could be written anew",
            mend="leave format, code and reels as they are: the held frames are then punched",
        )
    return material


def material_of(decoding: Decoding, kind: Kind, load_address: int | None = None) -> Material:
    """The content of `decoding` as `kind`, which its format offers.

    Raises:
        CannotPrepare: lines of BASIC are wanted, and one has no number.
    """
    if kind in (Kind.MEMORY, Kind.WORDS):
        if load_address is not None and not decoding.memory:
            return Material(kind, {load_address: decoding.content})
        return Material(kind, decoding.memory, decoding.entry_address)
    if kind is Kind.BASIC:
        return _basic(decoding)
    if kind is Kind.FRAMES:
        return Material(kind, data=decoding.content)
    return Material(kind, lines=tuple(decoding.content.decode("latin-1").split("\n")))


def _basic(decoding: Decoding) -> Material:
    lines = [line for line in decoding.listing if line.text.strip()]
    for line in lines:
        if not line.text.lstrip(" ")[:1].isdecimal():
            raise CannotPrepare(
                f"the line {line.text[:40]!r} at {place(line.frame)} has no line number, so it is "
                "no part of a program",
                frame=line.frame,
                mend="punch it as text, or type it after the program is loaded",
            )
    text = "\n".join(line.text for line in lines)
    program = program_from_text(text)
    crunched = decoding.content.startswith(LEAD)
    name = decoding.content[len(LEAD) : len(LEAD) + 1] if crunched else b""
    return Material(Kind.BASIC, numbered=program.lines, name=name.decode("latin-1"))


def _one_program(plan: Plan) -> None:
    parts = [part for part in plan.source.parts if part.decoding]
    if len(parts) > 1:
        where = ", ".join(place(part.span.start) for part in parts)
        raise CannotPrepare(
            f"the tape carries {len(parts)} parts, at {where}; only one can be written anew",
            frame=parts[1].span.start,
            mend="leave format, code and reels as they are: the held frames are then punched",
        )


def _whole(plan: Plan) -> None:
    damage = [each for each in plan.source.decoding.findings if each.severity is Severity.DAMAGE]
    if damage and not plan.how.accept_damage:
        first = damage[0]
        raise CannotPrepare(
            f"the held tape is damaged in {len(damage)} places, first at {told(first)}; written "
            "anew it would pass its checks",
            frame=first.frame,
            mend="merge or proof-read its readings first, punch it as it is held, or accept the "
            "damage",
            choice="accept_damage",
        )


def _kind(plan: Plan) -> Kind:
    offered = set(plan.held.offers)
    if Kind.FRAMES in offered and plan.how.load_address is not None:
        offered.add(Kind.MEMORY)
    best = [kind for kind in plan.format.takes if kind in offered]
    if plan.format is not plan.held and Kind.MEMORY in best:
        # Frames that are given an address go there.
        best = [Kind.MEMORY]
    if best:
        return best[0]
    if Kind.FRAMES in offered and Kind.MEMORY in plan.format.takes:
        raise CannotPrepare(
            "the tape does not say where its frames are loaded",
            mend="give the load address; the papers of the machine may say it",
            choice="load_address",
        )
    raise CannotPrepare(
        f"{plan.held.title} carries {_words(plan.held.offers)}, {plan.format.title} carries "
        f"{_words(plan.format.takes)}: one does not mean the other",
        mend=f"choose one of {', '.join(targets(plan.formats, offered)) or 'the held format'}",
        choice="format",
    )


def _words(kinds: tuple[Kind, ...]) -> str:
    return " or ".join(kinds)


def _readable(plan: Plan) -> None:
    """Refuse a program that holds what no listing shows as it is."""
    odd = [each for each in plan.source.decoding.findings if each.kind in _MEANINGLESS]
    if odd:
        first = odd[0]
        raise CannotPrepare(
            f"{told(first)}; a program as it is typed cannot hold that",
            frame=first.frame,
            mend="punch the program crunched, as it is held",
        )


def told(finding: Finding) -> str:
    """What a finding says, and where."""
    where = place(finding.frame)
    return finding.message if where in finding.message else f"{where}: {finding.message}"
