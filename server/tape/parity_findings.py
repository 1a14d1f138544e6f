"""Parity errors as findings, one for each frame up to a bound, so that noise stays cheap."""

from typing import Final

from server.tape.codes.base import Characters
from server.tape.findings import Finding, Severity, place
from server.tape.image import Frames

FIRST_ERRORS: Final = 200
"""How many parity errors are told one by one; the rest share one finding."""

_ADVICE: Final = (
    "clean the frame of chaff, read the tape again, and compare this frame in the two readings"
)
_ADVICE_MANY: Final = (
    "so many errors seldom lie on the tape: check the reader's levels, lamp and speed, "
    "then read it again"
)


def parity_findings(characters: Characters, array: Frames) -> list[Finding]:
    """A finding for each frame of `array` that breaks the parity of its `characters`, in order.

    The first `FIRST_ERRORS` have a finding each; any others share a last one. Even and odd
    parity catch a wrong hole in any channel, so an error is damage; mark and space parity
    catch only the parity channel, so an error is a warning.
    """
    errors = characters.parity_errors
    severity = Severity.DAMAGE if characters.parity.detects_flips else Severity.WARNING
    told = errors[:FIRST_ERRORS]
    findings = [
        Finding(
            kind="parity-error",
            severity=severity,
            frame=frame,
            frames=1,
            message=f"{place(frame)}: the holes {holes:02X} break {characters.parity} parity",
            advice=_ADVICE,
        )
        for frame, holes in zip(told.tolist(), array[told].tolist(), strict=True)
    ]
    if errors.size > FIRST_ERRORS:
        findings.append(_rest(characters, severity))
    return findings


def _rest(characters: Characters, severity: Severity) -> Finding:
    rest = characters.parity_errors[FIRST_ERRORS:]
    first, last = int(rest[0]), int(rest[-1])
    return Finding(
        kind="parity-error",
        severity=severity,
        frame=first,
        frames=last + 1 - first,
        message=(
            f"{place(first)}: from here {rest.size} more frames, of {last + 1 - first}, "
            f"break {characters.parity} parity"
        ),
        advice=_ADVICE_MANY,
    )
