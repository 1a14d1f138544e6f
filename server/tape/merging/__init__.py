"""Several readings of one tape, brought together: aligned, voted on, and settled by its checks."""

from typing import Final

from server.tape.merging.bringing_together import MOST_FRAMES, READINGS, merge
from server.tape.merging.merged import (
    Agreement,
    AgreementKind,
    Dispute,
    Merged,
    SettledBy,
    Source,
    Vote,
)

__all__ = [
    "MERGER_RELEASE",
    "MOST_FRAMES",
    "READINGS",
    "Agreement",
    "AgreementKind",
    "Dispute",
    "Merged",
    "SettledBy",
    "Source",
    "Vote",
    "merge",
]

MERGER_RELEASE: Final = "1"
"""Kept with what was settled; raised whenever the same readings would have other columns."""
