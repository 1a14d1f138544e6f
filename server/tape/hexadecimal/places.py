"""From characters to frames: findings about stretches of a text, and how many are said."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from server.tape.codes.base import Characters
from server.tape.findings import Finding, Severity, place

FIRST_FINDINGS: Final = 200
"""How many findings of one kind are told one by one."""


@dataclass(frozen=True, slots=True)
class Places:
    """The characters of a tape, for findings about them."""

    characters: Characters

    def finding(
        self, start: int, stop: int, kind: str, severity: Severity, message: str, advice: str
    ) -> Finding:
        """A finding about characters `start` up to `stop`, its place put before `message`."""
        frame = int(self.characters.frames[start])
        return Finding(
            kind=kind,
            severity=severity,
            frame=frame,
            frames=int(self.characters.frames[stop - 1]) + 1 - frame,
            message=f"{place(frame)}: {message}",
            advice=advice,
        )

    def parity_errors(self, start: int, stop: int) -> list[int]:
        """Which of the characters `start` up to `stop`, counted from 0, break parity."""
        frames, errors = self.characters.frames, self.characters.parity_errors
        # Bounds of another type would have the whole array copied to it, every time.
        bounds = np.array([frames[start], frames[stop - 1] + 1], errors.dtype)
        inside = errors[slice(*errors.searchsorted(bounds))]
        found: list[int] = frames.searchsorted(inside).tolist()
        return [at - start for at in found]


def bounded(count: int, make: Callable[[int], Finding]) -> list[Finding]:
    """`make(0)` up to `make(count - 1)`, those beyond the bound drawn into one."""
    told = [make(index) for index in range(min(count, FIRST_FINDINGS))]
    if count > FIRST_FINDINGS:
        ends = make(FIRST_FINDINGS), make(count - 1)
        frame = min(end.frame for end in ends)
        rest = count - FIRST_FINDINGS
        told.append(
            replace(
                ends[0],
                frame=frame,
                frames=max(end.frame + end.frames for end in ends) - frame,
                message=f"{place(frame)}: from here {rest} more findings of this kind",
            )
        )
    return told


def bounded_by_kind(findings: Sequence[Finding]) -> list[Finding]:
    """`findings`, each kind bounded, in the order of the tape."""
    kinds: dict[str, list[Finding]] = {}
    for finding in sorted(findings, key=lambda each: each.frame):
        kinds.setdefault(finding.kind, []).append(finding)
    told = [each for alike in kinds.values() for each in bounded(len(alike), alike.__getitem__)]
    return sorted(told, key=lambda each: each.frame)
