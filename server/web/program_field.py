"""The field in which a form names a program: typed by title, since there may be thousands."""

import re
from typing import Any, Final

from server.catalog import programs
from server.catalog.errors import Invalid
from server.catalog.work import Work

NAME: Final = "program"
OFFERED: Final = 200
"""Programs that the field offers while one types; any other is found by its title too."""

_LABEL = re.compile(r".*\(no\. (\d{1,9})\)", re.DOTALL)


def label(program_id: int, title: str) -> str:
    """How the field names one program, whatever others share its title."""
    return f"{title} (no. {program_id})"


def offered(work: Work) -> tuple[str, ...]:
    """The programs that a form offers, by title."""
    return tuple(label(*each) for each in programs.by_title(work, OFFERED))


def chosen(work: Work, text: str) -> int | None:
    """The program that `text` names by label, title or number; None where it is empty.

    Raises:
        Invalid: no program is called so, or several are.
    """
    text = text.strip()
    labelled = _LABEL.fullmatch(text)
    if not text or labelled:
        return int(labelled[1]) if labelled else None
    found = programs.titled(work, text) if text.isprintable() else ()
    if len(found) == 1:
        return found[0]
    if found:
        labels = ", ".join(label(each, text) for each in found)
        raise _refused(f"several programs are called so: write one of {labels}")
    if re.fullmatch(r"[0-9]{1,9}", text):
        return int(text)
    raise _refused("no program is called so: choose one that is offered, or write its whole title")


def with_program(work: Work, values: dict[str, Any]) -> dict[str, Any]:
    """The values of a form, the program in them by number, where they name one at all."""
    if NAME not in values:
        return values
    return {**values, NAME: chosen(work, values[NAME])}


def _refused(sentence: str) -> Invalid:
    return Invalid("The program is not known.", where=NAME, mend=sentence, fields={NAME: sentence})
