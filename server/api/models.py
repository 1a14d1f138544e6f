"""What the API says of images and tapes' links: the shapes of its answers, with units."""

from datetime import date, datetime
from typing import Self

from pydantic import Field

from server.catalog.records import Receipt, VerifiedBy
from server.inspection import Fields, ImageFacts
from server.tape.listing import Line


class EvidenceOut(Fields):
    """One reason to trust an image."""

    kind: VerifiedBy = Field(description="What kind of reason it is.")
    by: str = Field(description="Who or what vouches.")
    at: datetime = Field(description="When, in UTC.")
    note: str = Field(description="What was compared or seen.")


class VerificationOut(Fields):
    """The judgement on an image, with its evidence; never a fact of the bytes alone."""

    word: VerifiedBy = Field(description="The strongest evidence, or `unverified`.")
    sentence: str = Field(description="The same in a sentence.")
    evidence: list[EvidenceOut] = Field(description="All of the evidence.")


class FixityFailureOut(Fields):
    """Frames that are not those of the image's name any more."""

    sha256: str = Field(description="Name of the image.")
    since: datetime = Field(description="When that was found first, in UTC.")
    detail: str = Field(description="What was found in the place of its frames.")
    mend: str = Field(description="What to do about it.")


class ReadingOut(Fields):
    """One pass of one tape through a reader, or a merged reading taken in as one."""

    id: int = Field(description="Number of the reading.")
    sha256: str = Field(description="Name of the image that it gave.")
    file_name: str = Field(description="Name of the file as it was uploaded.")
    tape: str | None = Field(description="Accession number of the tape, or null.")
    read_on: date | None = Field(description="Day of the reading.")
    reader: str = Field(description="The machine that read it.")
    by: str = Field(description="Who uploaded it.")
    received: datetime = Field(description="When it was received, in UTC.")
    merged: int | None = Field(
        description="Number of the merged reading that it stands for; null where it is a pass."
    )


class TapeLinkOut(Fields):
    """A tape that carries the image or the program."""

    accession_number: str = Field(description="Accession number of the tape.")
    title: str = Field(description="Its title.")
    do_not_run: bool = Field(description="Whether no reader may have it without permission.")


class VersionLinkOut(Fields):
    """A version of a program whose master the image is."""

    program: int = Field(description="Number of the program.")
    title: str = Field(description="Title of the program.")
    label: str = Field(description="Label of the version.")
    id: int = Field(description="Number of the version.")


class ImageOut(ImageFacts):
    """An image held: its facts as `inspect` gives them, then what the archive knows of it."""

    lines: int = Field(description="Lines of the listing.")
    decoder_release: str = Field(description="Release of the decoder that made the decoding.")
    title: str = Field(description="Best name there is: of the tape, the program or the file.")
    received: datetime = Field(description="When the image was first received, in UTC.")
    verification: VerificationOut = Field(description="Why the image is trusted, if it is.")
    readings: list[ReadingOut] = Field(description="Every reading that gave these very frames.")
    tapes: list[TapeLinkOut] = Field(description="Tapes that carry the image.")
    versions: list[VersionLinkOut] = Field(description="Versions whose master it is.")
    fixity_checked: datetime | None = Field(
        description="When the last fixity audit ended that went over it, in UTC, or null."
    )
    fixity_failure: FixityFailureOut | None = Field(
        description="What is wrong with the held frames; null where nothing is known to be."
    )


class KinOut(Fields):
    """Another image, and how the one asked about relates to it."""

    sha256: str = Field(description="Name of the other image.")
    kinship: str = Field(
        description="`same-content`, `same-listing`, `renumbered`, `relocated`, `near`; `part-of` "
        "where the image asked about stands in the other, `holds` where the other stands in it."
    )
    similarity: float = Field(description="From 0 (nothing alike) to 1 (the same).")
    distance: int = Field(
        description="Fewest single changes between the two: characters, bytes or frames."
    )
    added: int = Field(description="Lines, addresses or frames only in the image asked about.")
    removed: int = Field(description="Lines, addresses or frames only in the other image.")
    changed: int = Field(
        description="Lines, addresses or frames that both have, but not alike; of relocated "
        "code, the absolute addresses inside."
    )
    unit: str = Field(description="What is counted: `line`, `address` or `frame`.")
    renumbered: bool = Field(description="Whether line numbers differ and were left out.")
    moved_by: int = Field(description="How many addresses higher the image asked about stands.")
    description: str = Field(description="The same in words.")
    title: str = Field(description="Best name there is for the other image.")
    accession: str | None = Field(description="Accession number of its first tape, or null.")
    do_not_run: bool = Field(description="Whether no reader may have that tape.")


class ReceiptOut(Fields):
    """What became of an upload."""

    sha256: str = Field(description="Name of the image: SHA-256 of its frames, in hexadecimal.")
    bytes: int = Field(description="Number of frames, one byte each.")
    duplicate_of: str | None = Field(
        description="An image held before that is the same or has the same content, or null."
    )
    decoding: ImageOut = Field(description="The image, as GET /api/v1/images/{sha256} gives it.")
    kin: list[KinOut] = Field(description="Images that resemble it, the nearest first.")
    held: bool = Field(description="Whether this very image was held before.")
    reading: int = Field(description="Number of the reading that the upload was entered as.")
    tape: str | None = Field(description="Accession number of the tape it was entered for.")
    notes: list[str] = Field(description="Warnings about the file, in plain words.")

    @classmethod
    def of(cls, receipt: Receipt) -> Self:
        """The shape of a receipt."""
        return cls(
            sha256=receipt.image.sha256,
            bytes=receipt.image.bytes,
            duplicate_of=receipt.duplicate_of,
            decoding=ImageOut.model_validate(receipt.image),
            kin=[KinOut.model_validate(each) for each in receipt.kin],
            held=receipt.held,
            reading=receipt.reading_id,
            tape=receipt.tape,
            notes=list(receipt.notes),
        )


class ListingLineOut(Fields):
    """One line of a listing."""

    number: int = Field(description="Place in the listing, counted from 1.")
    text: str = Field(description="The decoded text.")
    frame: int = Field(description="First frame of the line; the first of the image is 0.")
    frames: int = Field(description="How many frames the line takes.")
    key: int | None = Field(description="Line number or address of the content's own, or null.")

    @classmethod
    def of(cls, number: int, line: Line) -> Self:
        """The line of that number."""
        return cls(number=number, **line._asdict())
