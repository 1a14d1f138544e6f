"""What a format whose records carry checksums is asked, by whoever has frames to choose from."""

from collections.abc import Callable
from typing import NamedTuple, Protocol, TypeAlias, runtime_checkable

from server.tape.image import Span
from server.tape.view import View


class Checked(NamedTuple):
    """What the checksums on a tape say of its frames, both in the order of the tape.

    `sound` are records whose checksums come out; `faults` are frames between them, or about
    them, that should belong to such a record and do not.
    """

    sound: tuple[Span, ...]
    faults: tuple[Span, ...]


Checker: TypeAlias = Callable[[View], Checked]


@runtime_checkable
class SelfChecking(Protocol):
    """A format whose records carry checksums."""

    def checker(self, view: View) -> Checker:
        """What checks any part of `view` that begins and ends between records.

        What only the whole tape tells, such as the rule that its checksums follow, is found out
        once, here.
        """
        ...
