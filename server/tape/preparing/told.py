"""What is said of a prepared tape: in what it differs from the held one, and what to heed."""

from collections.abc import Iterator, Sequence

from server.tape.image import Orientation
from server.tape.material import Kind
from server.tape.preparing.characters import has_one_case
from server.tape.preparing.contents import Contents
from server.tape.preparing.plan import Plan
from server.tape.preparing.prepared import Reel

_NOT_CARRIED = frozenset({"name-record", "header-record"})

_TURNED = {
    Orientation.REVERSED: "backwards",
    Orientation.MIRRORED: "with its channels swapped",
    Orientation.REVERSED_MIRRORED: "backwards and with its channels swapped",
}


def changes(plan: Plan, contents: Contents, reels: Sequence[Reel]) -> Iterator[str]:
    """In what the reels differ from the held image, a sentence each."""
    source, decoding = plan.source, plan.source.decoding
    if source.orientation in _TURNED:
        yield f"The image was read {_TURNED[source.orientation]}; the reels run the right way."
    yield from _around(plan, reels)
    if plan.format is not plan.held:
        yield f"Format: {plan.format.title} instead of {plan.held.title}."
    if plan.code != decoding.code and plan.code is not None:
        yield f"Code: {plan.code} instead of {decoding.code or 'bytes'}."
    if plan.parity is not None and plan.parity is not decoding.parity:
        yield f"Parity: {plan.parity} instead of {decoding.parity or 'none'}."
    if plan.levels != source.image.levels:
        yield f"Levels: {plan.levels} instead of {source.image.levels}."
    if contents.flips:
        yield f"{contents.flips} frames that broke the parity now obey it, right or not."
    if contents.first_stage:
        yield f"The {contents.first_stage} equal frames before the first stage are kept."
    if contents.material is not None:
        yield from _anew(plan)
    if len(reels) > 1:
        yield f"{len(reels)} reels instead of one."


def _around(plan: Plan, reels: Sequence[Reel]) -> Iterator[str]:
    how, source = plan.how, plan.source
    yield (
        f"Leader: {how.leader_frames} frames, {plan.pattern(how.leader_pattern)}; the image has "
        f"{source.leader_frames} before its content."
    )
    yield (
        f"Trailer: {how.trailer_frames} frames, {plan.pattern(how.trailer_pattern)}; the image "
        f"has {source.trailer_frames} behind its content."
    )
    lettering = reels[0].lettering
    if source.lettering and source.lettering != lettering:
        yield f"The lettering of the image, {source.lettering}, is left out."
    if lettering:
        yield f"Lettering in the leader: {', '.join(reel.lettering for reel in reels)}."


def _anew(plan: Plan) -> Iterator[str]:
    yield "Lines or records are written anew, so fill and rub-outs between them are not kept."
    decoding = plan.source.decoding
    if plan.how.leave_entry_out and decoding.entry_address is not None:
        yield f"The entry address {decoding.entry_address:04X} is left out."
    if plan.dialect is not None:
        yield f"Crunched as {plan.dialect.title}."
    for finding in decoding.findings:
        if finding.kind in _NOT_CARRIED:
            yield f"Not carried over: {finding.message}."
    if plan.code is not None and has_one_case(plan.code) and not has_one_case(decoding.code or ""):
        yield f"{plan.code} has one case of letters; the text has one as well, so none is lost."


def cautions(plan: Plan, contents: Contents, reels: Sequence[Reel]) -> Iterator[str]:
    """What whoever punches or loads the reels must heed."""
    if reels[0].letters is not None and _may_load_letters(plan, reels):
        yield (
            "Set the tape in the reader behind the lettering: a loader may take letters for data."
        )
    if plan.format is plan.held and contents.first_stage:
        yield "The loader is read from this tape first; see the loader requirement."
    entry = plan.source.decoding.entry_address
    if plan.how.leave_entry_out and entry is not None:
        yield f"The tape does not start the program: key in {entry:04X} after it is loaded."
    if contents.material is not None and contents.material.kind is Kind.MEMORY and plan.is_bare:
        start = min(contents.material.memory)
        yield f"The tape does not say where it is loaded: key in {start:04X}."
    if (
        contents.entry_address == 0
        and contents.material
        and contents.material.entry_address is None
    ):
        yield "The last record says 0000, for it must say something: a monitor may start there."
    if plan.how.accept_damage and contents.material is not None:
        yield "The held image is damaged; the reels pass their checks, and are wrong all the same."
    if len(reels) > 1:
        yield f"Several reels: {plan.format.divides}."


def _may_load_letters(plan: Plan, reels: Sequence[Reel]) -> bool:
    wakes = plan.format.wakes
    if wakes is None:
        return True
    mask = 0x7F if plan.code else 0xFF
    return any(
        frame & mask in wakes
        for reel in reels
        if reel.letters is not None
        for frame in reel.frames[slice(*reel.letters)]
    )
