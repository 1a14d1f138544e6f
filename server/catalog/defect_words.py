"""What can be wrong with a tape: each kind of defect, what it means, how it is handled.

The words are our own wording of what paper conservators commonly tell apart (terms of paper
damage: lists of the Smithsonian Museum Conservation Institute and the Archives Damage Atlas,
both from memory; what only a punched tape has, and all of the handling: common practice, no
source). Local codes, licensed practice and a conservator come before any of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final


class DefectKind(StrEnum):
    """What can be wrong with a tape."""

    TEAR = "tear"
    TORN_EDGE = "torn edge"
    CUT = "cut"
    HOLE = "hole in the paper"
    MISSING_PIECE = "missing piece"
    CREASE = "crease"
    EDGE_WEAR = "edge wear"
    ABRASION = "abrasion"
    BRITTLENESS = "brittleness"
    DISCOLOURATION = "discolouration"
    STAIN = "stain"
    TIDELINE = "tideline"
    FOXING = "foxing"
    MOULD = "mould"
    INSECT_DAMAGE = "insect damage"
    RODENT_DAMAGE = "rodent damage"
    RUST = "rust"
    ADHESIVE_RESIDUE = "adhesive residue"
    OLD_REPAIR = "old repair"
    WATER_DAMAGE = "water damage"
    HEAT_DAMAGE = "heat damage"
    ELONGATED_FEED_HOLES = "elongated feed holes"
    WORN_FEED_HOLES = "worn feed holes"
    HANGING_CHAD = "hanging chad"
    BLOCKED_HOLES = "blocked holes"
    MISPUNCH = "mispunched holes"
    HAND_PUNCHED_PATCH = "hand-punched patch"
    SPLICE = "splice"
    SKEW = "skew"
    CURL = "curl"
    STUCK_LAYERS = "stuck layers"
    OIL = "oil bleed"
    OIL_LOSS = "oil loss"
    DUST = "dust"


class Trait(StrEnum):
    """What a defect is of, which gives its mark on a picture of the tape."""

    BREAK = "break"
    """The tape is open or thin here: it may part."""
    HOLES = "holes"
    """The holes themselves are not as they were punched."""
    SHAPE = "shape"
    """The tape does not lie flat and straight."""
    SURFACE = "surface"
    """Something lies on the tape or has gone into it."""


@dataclass(frozen=True, slots=True)
class DefectWord:
    """What a kind of defect means, what it is of, and how a tape that has it is handled."""

    meaning: str
    trait: Trait
    handling: str


DEFECTS: Final[Mapping[DefectKind, DefectWord]] = MappingProxyType(
    {
        DefectKind.TEAR: DefectWord(
            "The tape is torn into from an edge or inside; nothing is lost.",
            Trait.BREAK,
            "No motor and no sprocket before it is mended; support it on both sides.",
        ),
        DefectKind.TORN_EDGE: DefectWord(
            "One edge is ragged over a length, short of the holes.",
            Trait.BREAK,
            "Keep edge guides wide; pull it by hand and watch that edge.",
        ),
        DefectKind.CUT: DefectWord(
            "A clean cut, by a blade or scissors.",
            Trait.BREAK,
            "Keep both ends together, marked; ask a conservator to join them.",
        ),
        DefectKind.HOLE: DefectWord(
            "A hole that no punch made, beside or across the code holes.",
            Trait.BREAK,
            "Optical reading counts it as a code hole: look at those frames by eye.",
        ),
        DefectKind.MISSING_PIECE: DefectWord(
            "A piece of the tape is gone.",
            Trait.BREAK,
            "Look for the piece in the box; never feed the gap through a machine.",
        ),
        DefectKind.CREASE: DefectWord(
            "A fold that was pressed flat and left its line.",
            Trait.SHAPE,
            "Do not bend it the other way; read slowly here, frames slip at a crease.",
        ),
        DefectKind.EDGE_WEAR: DefectWord(
            "An edge is rubbed thin or rounded, so that the tape is narrower.",
            Trait.BREAK,
            "It wanders in a guide: read twice, and compare.",
        ),
        DefectKind.ABRASION: DefectWord(
            "The surface is rubbed, the paper is thin.",
            Trait.SURFACE,
            "Light shines through thin paper: lower the lamp, or read by pins.",
        ),
        DefectKind.BRITTLENESS: DefectWord(
            "The paper cracks when it is bent.",
            Trait.BREAK,
            "Do not bend, unroll or run it; ask a conservator first.",
        ),
        DefectKind.DISCOLOURATION: DefectWord(
            "The paper has turned yellow or brown.",
            Trait.SURFACE,
            "Keep it from light and from acid board.",
        ),
        DefectKind.STAIN: DefectWord(
            "A mark of ink, oil, drink or something not known.",
            Trait.SURFACE,
            "Do not wet or rub it; say what it may be, and keep it from its neighbours.",
        ),
        DefectKind.TIDELINE: DefectWord(
            "The edge at which water once stood.",
            Trait.SURFACE,
            "Look for mould, and for layers that stick, before it is unrolled.",
        ),
        DefectKind.FOXING: DefectWord(
            "Small brown spots in the paper.",
            Trait.SURFACE,
            "Keep it dry; where spots are furry take them for mould.",
        ),
        DefectKind.MOULD: DefectWord(
            "Growth on the paper, dry or damp, or its smell.",
            Trait.SURFACE,
            "Do not open, brush or read it: bag it, keep it apart, and log the hazard.",
        ),
        DefectKind.INSECT_DAMAGE: DefectWord(
            "Holes, grazed paper or droppings of insects.",
            Trait.BREAK,
            "Bag it, look at its neighbours, and log the hazard if any may be alive.",
        ),
        DefectKind.RODENT_DAMAGE: DefectWord(
            "Gnawed edges, or droppings.",
            Trait.BREAK,
            "Droppings carry disease: gloves, no dust in the air, and local health rules.",
        ),
        DefectKind.RUST: DefectWord(
            "Rust of a clip or reel has gone into the paper.",
            Trait.SURFACE,
            "Do not scrape; take the clip away only if it comes by itself.",
        ),
        DefectKind.ADHESIVE_RESIDUE: DefectWord(
            "Old adhesive that is left on the tape, tacky or hard.",
            Trait.SURFACE,
            "It blocks holes and sticks in a reader: no solvent, ask a conservator.",
        ),
        DefectKind.OLD_REPAIR: DefectWord(
            "Somebody mended it before.",
            Trait.SURFACE,
            "Leave it as it is; look whether it covers holes.",
        ),
        DefectKind.WATER_DAMAGE: DefectWord(
            "Swollen, cockled or weakened by water or damp.",
            Trait.SHAPE,
            "Let it dry flat and slowly, away from the others; look for mould.",
        ),
        DefectKind.HEAT_DAMAGE: DefectWord(
            "Scorched, shrunk or brittle from heat or fire.",
            Trait.BREAK,
            "Soot is harmful: gloves, and a conservator before it is opened.",
        ),
        DefectKind.ELONGATED_FEED_HOLES: DefectWord(
            "Feed holes drawn out lengthwise by a sprocket.",
            Trait.HOLES,
            "No sprocket: read it where light or friction moves it.",
        ),
        DefectKind.WORN_FEED_HOLES: DefectWord(
            "Feed holes frayed or torn at the rim.",
            Trait.HOLES,
            "No sprocket: read it where light or friction moves it.",
        ),
        DefectKind.HANGING_CHAD: DefectWord(
            "The round piece still hangs in its hole.",
            Trait.HOLES,
            "It reads as a hole or as none: read twice, and do not pull it off.",
        ),
        DefectKind.BLOCKED_HOLES: DefectWord(
            "Holes are filled with dust, paper or adhesive.",
            Trait.HOLES,
            "A soft dry brush from the back, and only where nothing is mouldy.",
        ),
        DefectKind.MISPUNCH: DefectWord(
            "Holes out of line, half punched or torn by the punch.",
            Trait.HOLES,
            "Look at those frames by eye, and settle them there.",
        ),
        DefectKind.HAND_PUNCHED_PATCH: DefectWord(
            "A patch over the tape, with holes punched by hand.",
            Trait.HOLES,
            "Its holes stand out of line: read slowly, and compare by eye.",
        ),
        DefectKind.SPLICE: DefectWord(
            "Two ends are joined; frames may be missing or doubled there.",
            Trait.BREAK,
            "Look whether it lifts before the tape is run, and stop short of it if so.",
        ),
        DefectKind.SKEW: DefectWord(
            "Rows of holes stand aslant, or the tape bends sideways.",
            Trait.SHAPE,
            "A reader mistakes neighbouring frames: lower the speed, guide it by hand.",
        ),
        DefectKind.CURL: DefectWord(
            "The tape rolls itself up or keeps the set of its reel.",
            Trait.SHAPE,
            "Let it rest flat under light weight; do not bend it backwards.",
        ),
        DefectKind.STUCK_LAYERS: DefectWord(
            "Turns of the roll or folds of the pack stick together.",
            Trait.SURFACE,
            "Do not pull them apart: ask a conservator.",
        ),
        DefectKind.OIL: DefectWord(
            "Oil has come out of the paper.",
            Trait.SURFACE,
            "Interleave it, and keep it from plain paper; clean the reader after it.",
        ),
        DefectKind.OIL_LOSS: DefectWord(
            "Oiled paper has dried out: pale, stiff, dusty.",
            Trait.SURFACE,
            "It tears and wears the punch: read it once, slowly, and copy it.",
        ),
        DefectKind.DUST: DefectWord(
            "Loose dirt on the tape.",
            Trait.SURFACE,
            "A soft dry brush, under extraction or outdoors; never on mould.",
        ),
    }
)
"""Each kind of defect, in the order of the list."""
