"""What an entry of the log did, as a short name: by it, one knows how to undo it.

Entries of earlier releases do not name their action; it is told from what they hold.
"""

from server.catalog.events import EventType, ObjectKind
from server.store.events import Event

CHANGE = "change"
"""Columns of a record were set; `before` and `after` hold them."""


def action_of(event: Event) -> str:
    """The name of what was done; empty where nothing undoes it."""
    facts = event.facts
    if "action" in facts:
        return str(facts["action"])
    match event.type, event.object_kind:
        case EventType.CREATION, ObjectKind.PROGRAM:
            return "create program"
        case EventType.CONDITION, ObjectKind.TAPE if "report" in facts:
            return "log report"
        case EventType.MOVEMENT, ObjectKind.TAPE if "movement" in facts:
            return "move"
        case EventType.MODIFICATION, _:
            return _of_modification(event)
    return ""


def _of_modification(event: Event) -> str:
    facts, detail = event.facts, event.detail
    if detail.startswith("load sheet"):
        return "write load sheet"
    if "before" in facts and "after" in facts:
        return CHANGE
    if detail == "attached" and event.object_kind == ObjectKind.TAPE:
        return "attach image"
    if detail.startswith("version ") and {"label", "image"} <= facts.keys():
        return "add version"
    return ""
