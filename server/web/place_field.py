"""The field in which a form names a place: typed as it is written, since there may be thousands."""

from server.catalog.errors import refused
from server.catalog.place_records import at_path
from server.catalog.work import Work


def chosen(work: Work, text: str, field: str) -> int | None:
    """The place that `text` names by its written path; None where it is empty.

    Raises:
        Invalid: no place is written so.
    """
    if not text.strip():
        return None
    found = at_path(work, text)
    if found is None:
        raise refused(field, "no place is written so", "Choose one that is offered.")
    return found
