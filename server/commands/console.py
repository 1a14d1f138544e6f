"""Where commands write: results to one stream, complaints to the other, and nothing else."""

import sys
from collections.abc import Iterable, Sequence
from typing import IO

from pydantic import BaseModel

DONE, REFUSED, UNUSABLE = 0, 1, 2
"""What a command exits with: done; refused by the archive; called with something unusable."""

_INVISIBLE = {code: f"\\x{code:02X}" for code in (*range(0x20), *range(0x7F, 0xA0))}


def say(*lines: str, to: IO[str] | None = None) -> None:
    """Write `lines`, control characters made visible: a tape must not drive the terminal."""
    stream = sys.stdout if to is None else to
    stream.writelines(f"{line.translate(_INVISIBLE)}\n" for line in lines)


def complain(what: str, *more: str) -> None:
    """Write what went wrong, and what to do about it, to the error stream."""
    say(what, *(f"  {line}" for line in more if line), to=sys.stderr)


def give(value: BaseModel) -> None:
    """Write `value` as one line of JSON."""
    sys.stdout.write(value.model_dump_json() + "\n")


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Lines with the cells of `rows` in columns under `head`."""
    cells = [head, *rows]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in cells
    ]


def labelled(pairs: Iterable[tuple[str, str]]) -> list[str]:
    """Lines with each label and its value; a label without a value is left out."""
    kept = [(label, value) for label, value in pairs if value]
    width = max((len(label) for label, _ in kept), default=0)
    return [f"  {label.ljust(width)}  {value}" for label, value in kept]
