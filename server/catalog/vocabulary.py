"""The controlled words that describe a physical tape, each with what it means.

The words are our own wording of common practice (no source); what can be wrong with a tape is in
`server.catalog.defect_words`.
"""

from enum import StrEnum

from server.tape.dimensions import TAPE_WIDTH_MM


class Medium(StrEnum):
    """What a tape is made of."""

    PAPER = "paper"
    OILED_PAPER = "oiled paper"
    PARCHMENT_PAPER = "parchment-like paper"
    POLYESTER = "polyester"
    FOIL_LAMINATE = "foil laminate"
    UNKNOWN = "unknown"


class TapeForm(StrEnum):
    """How a tape is kept together; empty where nobody said."""

    UNKNOWN = ""
    ROLL = "roll"
    FANFOLD = "fanfold"
    STRIP = "loose strip"


class Acquired(StrEnum):
    """How a tape came to the collection; empty where nobody said."""

    UNKNOWN = ""
    GIFT = "gift"
    BEQUEST = "bequest"
    PURCHASE = "purchase"
    EXCHANGE = "exchange"
    TRANSFER = "transfer"
    FOUND = "found in the collection"
    MADE = "made here"


class Access(StrEnum):
    """Who may see a record, from the most open to the least."""

    PUBLIC = "public"
    """Everybody."""
    MEMBERS = "members"
    """People who are signed in."""
    RESTRICTED = "restricted"
    """Archivists and administrators."""

    @property
    def shut(self) -> int:
        """How far it is closed: 0 for what everybody sees."""
        return tuple(Access).index(self)


class Condition(StrEnum):
    """How a tape stands, from best to worst; the newest report on it says which."""

    NOT_EXAMINED = "not examined"
    GOOD = "good"
    WORN = "worn"
    FRAGILE = "fragile"
    UNFIT = "unfit for a reader"


class Reason(StrEnum):
    """Why a tape was looked at."""

    ENTRY = "entry"
    BEFORE_LOAN = "before loan"
    AFTER_LOAN = "after loan"
    BEFORE_READING = "before reading"
    AFTER_READING = "after reading"
    SCHEDULE = "schedule"
    INCIDENT = "incident"


class Method(StrEnum):
    """How a tape was looked at."""

    BY_EYE = "by eye"
    RAKING_LIGHT = "raking light"
    LIGHT_TABLE = "light table"
    MAGNIFIER = "magnifier"
    READER = "in a reader"


class DefectSeverity(StrEnum):
    """How much a defect matters."""

    SLIGHT = "slight"
    MODERATE = "moderate"
    SEVERE = "severe"


class Extent(StrEnum):
    """How far along the tape a defect reaches."""

    ONE_PLACE = "one place"
    HERE_AND_THERE = "here and there"
    ALL_ALONG = "all along"


class Handling(StrEnum):
    """How the tape may be handled, from freely to not at all."""

    AS_USUAL = "as usual"
    WATCHED = "slowly, and watched"
    NO_SPROCKET = "no sprocket or pins"
    BY_HAND = "pulled by hand only"
    DO_NOT_RUN = "do not run"


class Action(StrEnum):
    """What should be done with the tape."""

    NONE = "nothing"
    READ_SOON = "read it before it is worse"
    READ_AGAIN = "read it again"
    COPY = "punch a copy"
    CLEAN = "have it cleaned"
    REHOUSE = "a better box"
    CONSERVATOR = "ask a conservator"
    WATCH = "look again"


class Urgency(StrEnum):
    """How soon."""

    IN_TIME = "in its time"
    SOON = "soon"
    AT_ONCE = "at once"


class Hazard(StrEnum):
    """What makes a tape dangerous to people or to its neighbours."""

    NONE = "none"
    MOULD = "mould suspected"
    PESTS = "pests suspected"
    RESIDUE = "unknown residue"

    @property
    def quarantines(self) -> bool:
        """Whether a tape with this hazard is held apart, unread and unlent."""
        return self is not Hazard.NONE


def forbids_running(condition: str, hazard: str, reported_unfit: bool) -> bool:
    """Whether what is written of a tape says not to run it.

    `reported_unfit` is what its newest report says: that it is unfit, that a reader could not
    take it, or plainly not to run it.
    """
    return reported_unfit or condition == Condition.UNFIT or Hazard(hazard).quarantines


CAUTIONS = {
    Hazard.NONE: "",
    Hazard.MOULD: (
        "Mould can harm people. Do not open, brush, blow on or read this tape; bag it, keep it dry"
        " and apart from others, wash your hands, and ask a conservator. Anyone with asthma, an"
        " allergy or a weak immune system keeps away. Follow local health rules."
    ),
    Hazard.PESTS: (
        "Insects spread to the tapes beside it. Bag this tape, keep it apart, look at its"
        " neighbours, and ask a conservator before any treatment."
    ),
    Hazard.RESIDUE: (
        "The residue may be harmful. Wear gloves, do not read or clean this tape, keep it apart,"
        " and ask a conservator or a person licensed to judge it."
    ),
}
"""What to tell whoever handles a tape; local codes and licensed practice come first."""

WIDTH_MM = TAPE_WIDTH_MM
"""Nominal width by levels; `server.tape.dimensions` has the sources."""
