"""What is said about damage to blocks, and about what stands around them."""

from collections.abc import Iterable
from typing import Final

from server.tape.blocks.damage import Damage, Harm
from server.tape.blocks.layout import Layout
from server.tape.blocks.mending import flips, offered
from server.tape.findings import Finding, Severity, place
from server.tape.hexadecimal.places import FIRST_FINDINGS
from server.tape.load_findings import Terms

_READ_AGAIN: Final = "read these frames again"
_NAMED: Final = 4
_LONGEST_LEADER_PATTERN: Final = 8

_Said = tuple[str, str, str]
"""Kind, message, advice."""

_PASSED_OVER: Final[_Said] = (
    "stray-frames",
    "from here damage between the blocks was not looked into: there is too much of it",
    "check the reader's levels, lamp and speed, and read the tape again",
)


class Teller:
    """Says what was found in `frames`, read as blocks of `layout`, in `terms` of the machine."""

    def __init__(self, frames: bytes, layout: Layout, terms: Terms) -> None:
        self.frames = frames
        self.layout = layout
        self.terms = terms

    def damages(self, damages: Iterable[Damage]) -> list[Finding]:
        """A finding for each of `damages`; repairs are worked out for the first of them."""
        return [self._damage(each, number) for number, each in enumerate(damages)]

    def _damage(self, damage: Damage, number: int) -> Finding:
        kind, message, advice = self._said(damage, number)
        return _finding(kind, Severity.DAMAGE, damage.start, damage.stop, message, advice)

    def _said(self, damage: Damage, number: int) -> _Said:
        if damage.harm is Harm.MISMATCH:
            return self._mismatch(damage, work_out=number < FIRST_FINDINGS)
        if damage.harm is Harm.PASSED_OVER:
            return _PASSED_OVER
        by_harm = {
            Harm.DROPPED: self._dropped,
            Harm.DOUBLED: self._doubled,
            Harm.TRUNCATED: self._length,
            Harm.LENGTH: self._length,
            Harm.STRAY: self._stray,
        }
        return by_harm.get(damage.harm, self._head)(damage)

    def _name(self, damage: Damage) -> str:
        return f"the block for address {self._address(damage)}"

    def _address(self, damage: Damage) -> str:
        return self.terms.address(self.layout.address(self.frames, damage.start))

    def _mismatch(self, damage: Damage, *, work_out: bool) -> _Said:
        block = self.frames[damage.start : damage.stop]
        due = (block[-1] - self.layout.closing * self.layout.residue(block)) % 256
        message = (
            f"{self._name(damage)} has the checksum {block[-1]:02X} where its frames call for "
            f"{due:02X}"
        )
        repair = f"; {offered(flips(block, self.layout))}" if work_out else ""
        return "checksum-mismatch", message, f"{_READ_AGAIN}: its bytes were loaded{repair}"

    def _dropped(self, damage: Damage) -> _Said:
        message = (
            f"{self._name(damage)} is one frame shorter than its count says: a frame was dropped; "
            f"the block closes with a frame {damage.value:02X} put in among its data"
        )
        advice = (
            f"{_READ_AGAIN} slowly; the bytes behind the gap were loaded one address too low "
            "(offered, not applied)"
        )
        return "frame-dropped", message, advice

    def _doubled(self, damage: Damage) -> _Said:
        message = f"{self._name(damage)} is one frame longer than its count says: "
        if damage.value is None:
            message += "a frame was read twice or got in, and leaving out none of them closes it"
        else:
            named = ", ".join(str(at + 1) for at in damage.places[:_NAMED])
            more = f" or {len(damage.places) - _NAMED} more" if damage.places[_NAMED:] else ""
            message += (
                f"a frame was read twice or got in; the block closes without frame {named}{more} "
                f"of the block, which holds {damage.value:02X}"
            )
        advice = (
            f"{_READ_AGAIN} slowly; the bytes behind the surplus frame were loaded one address "
            "too high (offered, not applied)"
        )
        return "frame-doubled", message, advice

    def _head(self, damage: Damage) -> _Said:
        (at,) = damage.places
        change = {
            Harm.HEAD_WRONG: f"with frame {at + 1} read as {damage.value:02X}",
            Harm.HEAD_DROPPED: f"with a frame {damage.value:02X} put in before frame {at + 1}",
            Harm.HEAD_DOUBLED: f"without frame {at + 1}, which holds {damage.value:02X}",
        }[damage.harm]
        kind = {
            Harm.HEAD_WRONG: "block-head-damaged",
            Harm.HEAD_DROPPED: "frame-dropped",
            Harm.HEAD_DOUBLED: "frame-doubled",
        }[damage.harm]
        message = f"the head of a block is damaged: the block closes {change}"
        return kind, message, f"{_READ_AGAIN}; none of it was loaded (offered, not applied)"

    def _length(self, damage: Damage) -> _Said:
        assert damage.size is not None
        has = damage.stop - damage.start
        message = f"{self._name(damage)} has {has} frames where its count calls for {damage.size}"
        if damage.harm is Harm.TRUNCATED:
            message += ", and the tape ends"
        return "record-truncated", message, f"{_READ_AGAIN}: what is there was loaded"

    def _stray(self, damage: Damage) -> _Said:
        count = damage.stop - damage.start
        message = (
            "a frame belongs to no block" if count == 1 else f"{count} frames belong to no block"
        )
        advice = f"{_READ_AGAIN}: the head of a block may be lost; none of them was loaded"
        return "stray-frames", message, advice

    def leader(self, before: int) -> list[Finding]:
        """The byte of a leader that is not blank, which some loaders take as a sign.

        The longest run of one frame in front of frame `before` is told, its byte and its
        length (from memory; what a loader makes of it differs by version).
        """
        start = len(self.frames) - len(self.frames.lstrip(b"\0"))
        if start >= before:
            return []
        run = self.frames[start:before]
        length = len(run) - len(run.lstrip(run[:1]))
        if length < _LONGEST_LEADER_PATTERN:
            return []
        return [
            _finding(
                "leader-byte",
                Severity.NOTE,
                start,
                start + length,
                f"the leader is {length} frames of {run[0]:02X}",
                "keep the byte and the length: a first-stage loader may need them",
            )
        ]

    def no_end(self, last: tuple[int, int], what: str) -> Finding:
        """No block or record ends the program, after the block at the frames `last`."""
        return _finding(
            "end-record-missing",
            Severity.WARNING,
            *last,
            f"no {what} follows the last block",
            "see whether the tape was torn off or read to its end",
        )

    def after_end(self, start: int, stop: int) -> Finding:
        """Frames follow the end of the program."""
        return _finding(
            "data-after-end",
            Severity.NOTE,
            start,
            stop,
            f"{stop - start} frames follow the end of the program",
            "a loader stops before them: see whether they are a second program",
        )

    def name(self, start: int, stop: int, text: str) -> Finding:
        """The record that names the program."""
        return _finding(
            "name-record",
            Severity.NOTE,
            start,
            stop,
            f"the name record says {text!r}",
            "nothing: loaders skip it",
        )


def _finding(
    kind: str, severity: Severity, start: int, stop: int, message: str, advice: str
) -> Finding:
    return Finding(kind, severity, start, stop - start, f"{place(start)}: {message}", advice)
