"""Makes every image of the demo library, the same on every run: `python -m seed_data.make`.

Each is built from a text of this folder as recipes.toml says, by the formats' own writers, then
damaged and turned by stated rules.
"""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from seed_data import five_level, sources
from seed_data.damage import damaged, misread, rubbed_out
from server.tape.basic.program import program_from_text
from server.tape.codes.base import Parity
from server.tape.formats.crunched_basic import CrunchedBasic
from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.s_record import SRecord
from server.tape.formats.text import Text, TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Image, Orientation

HERE = Path(__file__).resolve().parent
IMAGES = HERE / "images"
LEADER_FRAMES = 60
LINE_ENDS = {"CR LF": b"\r\n", "CR": b"\r"}

Recipe = Mapping[str, Any]


def recipes() -> list[dict[str, Any]]:
    """The recipe of each image, in the order of the file."""
    recipes: list[dict[str, Any]] = tomllib.loads(
        (HERE / "recipes.toml").read_text(encoding="utf-8")
    )["image"]
    return recipes


def _text(recipe: Recipe) -> Image:
    content = TextContent(
        lines=sources.lines(recipe["source"]),
        parity=Parity(recipe.get("parity", Parity.EVEN)),
        line_end=LINE_ENDS[recipe.get("line_end", "CR LF")],
        leader=recipe.get("leader", LEADER_FRAMES),
    )
    return Text().build(content)


def _crunched(recipe: Recipe) -> Image:
    listing = "\n".join(sources.lines(recipe["source"]))
    leader = recipe.get("leader", LEADER_FRAMES)
    program = program_from_text(listing, recipe["name"])
    return CrunchedBasic().build(replace(program, leader=leader))


def _intel_hex(recipe: Recipe) -> Image:
    return IntelHex().build(_hex_program(recipe))


def _s_record(recipe: Recipe) -> Image:
    return SRecord().build(_hex_program(recipe))


def _hex_program(recipe: Recipe) -> HexProgram:
    code = sources.machine_code(recipe["source"])
    return HexProgram(
        memory=code.memory,
        entry_address=code.start,
        header=recipe.get("header", "").encode("ascii"),
        leader=recipe.get("leader", LEADER_FRAMES),
    )


def _five_level(recipe: Recipe) -> Image:
    text = "".join(f"{line}\r\n" for line in sources.lines(recipe["source"]))
    return Image(_between_leaders(five_level.frames(text), recipe), levels=5)


def _raw(recipe: Recipe) -> Image:
    return Image(_between_leaders(sources.rows(recipe["source"]), recipe))


def _blank(recipe: Recipe) -> Image:
    return Image(bytes(recipe["leader"]))


def _between_leaders(frames: bytes, recipe: Recipe) -> bytes:
    leader = bytes(recipe.get("leader", LEADER_FRAMES))
    return leader + frames + leader


MAKERS: Mapping[str, Callable[[Recipe], Image]] = {
    "text": _text,
    "crunched-basic": _crunched,
    "intel-hex": _intel_hex,
    "s-record": _s_record,
    "five-level": _five_level,
    "raw": _raw,
    "blank": _blank,
}


def made(recipe: Recipe) -> Image:
    """The image that `recipe` describes, as a reader gave it."""
    punched = MAKERS[recipe["format"]](recipe)
    frames = rubbed_out(punched.frames, recipe.get("rub_outs", ()))
    frames = damaged(frames, recipe.get("damage", ()))
    if "misread" in recipe:
        frames = misread(frames, recipe["misread"])
    orientation = Orientation(recipe.get("orientation", Orientation.AS_READ))
    return Image(frames, punched.levels).turned(orientation)


def main() -> None:
    """Write every image under images/."""
    IMAGES.mkdir(exist_ok=True)
    for recipe in recipes():
        (IMAGES / recipe["file"]).write_bytes(made(recipe).frames)


if __name__ == "__main__":
    main()
