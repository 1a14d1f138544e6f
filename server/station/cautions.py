"""What to mind at a reader and a punch: the usual cautions, common practice, no source."""

from typing import Final

FIRST: Final = (
    "These are the usual cautions, no more: local codes, the maker's manual and whoever is "
    "licensed for the work come first."
)

AT_THE_READER: Final = (
    "Brittle, torn or mouldy tape does not go through a machine: ask a conservator.",
    "A fast reader throws tape, and its edges cut: keep clear, never brake it by hand.",
)

AT_THE_PUNCH: Final = (
    "Tape that moves fast cuts, foil and polyester worst: keep fingers off its edges.",
    "Winders, pins and gears draw in hair, sleeves and lanyards: tie them back, guards on.",
    "Mains voltage is inside: unplug before a cover comes off; wiring is for the licensed.",
    "Chad and dust fly, and punches are loud: eye and hearing protection, chad box emptied.",
    "An old original never serves as blank tape or leader: a conservator decides about it.",
)
