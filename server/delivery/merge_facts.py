"""How a reading lies on a merged image, as named fields: one shape for API and command."""

from typing import Any

from pydantic import Field

from server.inspection import Fields
from server.tape.image import Orientation
from server.tape.merging import Source


class SourceFacts(Fields):
    """A reading as it lies on the merged image; counts are of frames, against that image."""

    orientation: Orientation = Field(description="How it was turned.")
    start: int = Field(description="Frame of the merged image with which it begins.")
    stop: int = Field(description="Frame of the merged image after its last.")
    flipped: int = Field(description="Frames with other holes.")
    dropped: int = Field(description="Frames that it lacks.")
    doubled: int = Field(description="Frames that it has twice.")
    added: int = Field(description="Frames that the merged image lacks.")
    score: float = Field(description="Share of its stretch that is right, from 0 to 1.")


def source_facts(source: Source) -> dict[str, Any]:
    """The values of those fields."""
    alone = {name: getattr(source, name) for name in SourceFacts.model_fields if name != "stop"}
    return alone | {"stop": source.span.stop}
