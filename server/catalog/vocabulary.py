"""The controlled words that describe a physical tape, each with what it means.

The words are our own wording of what paper conservators commonly tell apart (terms of paper
damage: lists of the Smithsonian Museum Conservation Institute and the Archives Damage Atlas,
both from memory; items that only a punched tape has: common practice, no source).
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


class DefectKind(StrEnum):
    """What can be wrong with a tape."""

    TEAR = "tear"
    TORN_EDGE = "torn edge"
    CUT = "cut"
    MISSING_PIECE = "missing piece"
    CREASE = "crease"
    ABRASION = "abrasion"
    BRITTLENESS = "brittleness"
    DISCOLOURATION = "discolouration"
    STAIN = "stain"
    MOULD = "mould"
    INSECT_DAMAGE = "insect damage"
    RUST = "rust"
    ADHESIVE = "adhesive or old repair"
    WATER_DAMAGE = "water damage"
    HEAT_DAMAGE = "heat damage"
    WORN_FEED_HOLES = "worn feed holes"
    HANGING_CHAD = "hanging chad"
    BLOCKED_HOLES = "blocked holes"
    SPLICE = "splice"
    CURL = "curl"
    STUCK_LAYERS = "stuck layers"
    OIL = "oil bleed"
    DUST = "dust"
    HAND_PUNCHED_PATCH = "hand-punched patch"


class Extent(StrEnum):
    """How much a defect matters."""

    SLIGHT = "slight"
    MODERATE = "moderate"
    SEVERE = "severe"


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
