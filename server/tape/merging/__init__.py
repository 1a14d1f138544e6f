"""Several readings of one tape, brought together: aligned, voted on, and settled by its checks."""

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
    "Agreement",
    "AgreementKind",
    "Dispute",
    "Merged",
    "SettledBy",
    "Source",
    "Vote",
]
