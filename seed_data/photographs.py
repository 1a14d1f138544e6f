"""Draws the photos of the invented club: strips of its tapes on a table, each with its defect.

`python -m seed_data.photographs` writes them into `photos/`. They are drawn from the images, so
that holes and defects stand where the records say; no camera took them.
"""

import random
from pathlib import Path

from PIL import Image, ImageDraw, ImageFilter

HERE = Path(__file__).parent
FOLDER = HERE / "photos"
PITCH = 30
"""Points from one frame to the next."""
TOP, ACROSS = 110, 300
FEED_FROM_BELOW = 116
"""The feed line is nearer the edge of channel 1, three channels above it."""
PAPER, DESK, HOLE, SHADE = (226, 205, 158), (74, 58, 46), (58, 45, 36), (170, 148, 106)


def strip(name: str, first: int, frames: int = 30) -> Image.Image:
    """So many frames of an image, punched into a strip that lies on a dark table."""
    data = (HERE / "images" / name).read_bytes()[first : first + frames]
    picture = Image.new("RGB", (frames * PITCH, 2 * TOP + ACROSS), DESK)
    draw = ImageDraw.Draw(picture)
    draw.rectangle((0, TOP, picture.width, TOP + ACROSS), fill=PAPER)
    feed = TOP + ACROSS - FEED_FROM_BELOW
    for place, frame in enumerate(data):
        x = place * PITCH + PITCH // 2
        _hole(draw, x, feed, 6)
        for channel in range(8):
            if frame >> channel & 1:
                rows = channel - 3 if channel < 3 else channel - 2
                _hole(draw, x, feed - rows * PITCH, 10)
    return picture


def _hole(draw: ImageDraw.ImageDraw, x: int, y: int, radius: int) -> None:
    draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=HOLE)


def tear(picture: Image.Image, chance: random.Random) -> None:
    """A tear from the feed side into the tape."""
    draw = ImageDraw.Draw(picture)
    x, y = picture.width // 2, TOP + ACROSS
    left, right = [(x - 16, y + 2)], [(x + 12, y + 2)]
    for depth in range(12, 66, 9):
        x += chance.randint(-7, 7)
        left.append((x - 12 + depth // 6, y - depth))
        right.append((x + 9 - depth // 7, y - depth))
    draw.polygon([*left, *reversed(right)], fill=DESK)
    draw.line(left, fill=SHADE, width=3)


def crease(picture: Image.Image, chance: random.Random) -> None:
    """Two lines where the tape was pressed flat, aslant across it."""
    draw = ImageDraw.Draw(picture)
    for offset in (0, 150):
        x = picture.width // 2 + offset + chance.randint(-20, 20)
        draw.line((x, TOP, x + 34, TOP + ACROSS), fill=SHADE, width=5)
        draw.line((x + 5, TOP, x + 39, TOP + ACROSS), fill=(244, 228, 190), width=3)


def splice(picture: Image.Image, chance: random.Random) -> None:
    """Old adhesive tape over a join, one corner lifting."""
    del chance
    layer = Image.new("RGBA", picture.size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(layer)
    x = picture.width // 2
    outline = (x - 110, TOP - 12), (x + 96, TOP - 8), (x + 70, TOP + ACROSS + 14), (x - 104, 424)
    draw.polygon(outline, fill=(196, 150, 72, 165))
    draw.polygon(((x + 96, TOP - 8), (x + 58, TOP - 4), (x + 92, TOP + 44)), fill=(240, 214, 150))
    draw.line((x, TOP, x + 6, TOP + ACROSS), fill=(70, 50, 30, 255), width=4)
    picture.paste(layer, mask=layer)


def folds(picture: Image.Image, chance: random.Random) -> None:
    """A fan-fold pack seen from its side: layer on layer, cracked at the folds."""
    draw = ImageDraw.Draw(picture)
    draw.rectangle((0, 0, *picture.size), fill=DESK)
    for layer in range(26):
        y = 60 + layer * 15
        shift = chance.randint(-5, 5)
        tone = chance.randint(-14, 14)
        fill = (PAPER[0] + tone, PAPER[1] + tone, PAPER[2] + tone)
        draw.rectangle((120 + shift, y, 780 + shift, y + 11), fill=fill)
        if chance.random() < 0.5:
            edge = chance.choice((120 + shift, 752 + shift))
            draw.polygon(((edge, y), (edge + 28, y), (edge + chance.randint(4, 22), y + 11)), DESK)


PHOTOS = {
    "2018-04-tear.jpg": ("2018-04.bin", 68, tear),
    "2018-06-crease.jpg": ("2018-06-a.bin", 418, crease),
    "2021-04-splice.jpg": ("2021-04.bin", 113, splice),
    "2022-02-folds.jpg": ("2018-04.bin", 0, folds),
}
"""What is drawn: the image, its first frame in the picture, and the defect."""


def main() -> None:
    """Draw all of them."""
    FOLDER.mkdir(exist_ok=True)
    for name, (image, first, damage) in PHOTOS.items():
        chance = random.Random(name)
        picture = strip(image, first)
        damage(picture, chance)
        grain = Image.effect_noise(picture.size, 26).convert("RGB")
        lying = Image.blend(picture, grain, 0.06).rotate(
            chance.uniform(-2.5, 2.5), Image.Resampling.BICUBIC, fillcolor=DESK
        )
        lying.filter(ImageFilter.GaussianBlur(0.8)).save(FOLDER / name, quality=72)


if __name__ == "__main__":
    main()
