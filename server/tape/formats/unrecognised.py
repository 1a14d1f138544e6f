"""What no other format claims: kept as it is, shown as a dump, and called unrecognised."""

from typing import ClassVar

from server.tape.findings import CheckStatus
from server.tape.formats.base import Decoding, Evidence
from server.tape.image import Image
from server.tape.material import ENDS, Kind, Material, Pattern, Writing
from server.tape.unlisted import bare_dump
from server.tape.view import View

CONFIDENCE = 0.01
"""Below whatever a format that saw its own marks would say."""


class Unrecognised:
    """Frames without a known format."""

    name: ClassVar[str] = "unrecognised"
    title: ClassVar[str] = "Unrecognised"
    source: ClassVar[str] = "none: the frames themselves"
    takes: ClassVar[tuple[Kind, ...]] = (Kind.FRAMES,)
    offers: ClassVar[tuple[Kind, ...]] = (Kind.FRAMES,)
    codes: ClassVar[tuple[str, ...]] = ()
    idle: ClassVar[tuple[Pattern, ...]] = (Pattern.BLANK, Pattern.RUB_OUT)
    wakes: ClassVar[bytes | None] = None
    divides: ClassVar[str] = (
        "nothing is known of how the frames are loaded: read the reels one after the other"
    )

    def recognise(self, view: View) -> Evidence:
        """Always a little: any frames can be shown, and that says nothing about them."""
        data = view.data
        if not data.frames:
            return Evidence(CONFIDENCE, "the tape is blank: leader and nothing else")
        return Evidence(CONFIDENCE, f"any {data.frames} frames can be shown as a dump")

    def parse(self, view: View) -> Decoding:
        """The frames between leader and trailer, as a dump that counts from the first."""
        data = view.image.frames[slice(*view.data)]
        listing, findings = bare_dump(data, view.data)
        return Decoding(
            format=self.name,
            data=view.data,
            listing=listing,
            check_status=CheckStatus.NO_CHECK,
            content=data,
            findings=findings,
        )

    def build(self, content: bytes) -> Image:
        """The tape whose frames are `content`.

        Raises:
            BadImage: `content` is empty.
        """
        return Image.of(content)

    def write(self, material: Material, way: Writing) -> Image:
        """The frames of `material` between blank ones."""
        return Image(bytes(ENDS) + material.data + bytes(ENDS))
