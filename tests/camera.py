"""Photos made up for tests: with the location that a camera writes into them, turned, or broken."""

from io import BytesIO
from typing import Any

from PIL import Image

SOUTH = 18.0
TURNED = 6
"""What EXIF calls a camera that was held upright: turn by 90 degrees (EXIF 2.32, from memory)."""


def scene(width: int = 320, height: int = 200, mode: str = "RGB") -> Image.Image:
    """Red on the left, blue on the right."""
    picture = Image.new(mode, (width, height), "blue")
    picture.paste("red", (0, 0, width // 2, height))
    return picture


def photo(kind: str = "JPEG", picture: Image.Image | None = None, **options: Any) -> bytes:
    """A file of that kind."""
    out = BytesIO()
    (picture or scene()).save(out, kind, **options)
    return out.getvalue()


def located(turned: int = 1) -> bytes:
    """A JPEG that says where and with what it was taken, and how the camera was held."""
    exif = Image.Exif()
    exif[0x010F] = "Camera of somebody"
    exif[0x0112] = turned
    exif.get_ifd(0x8825)[2] = (SOUTH, 30.0, 12.0)
    return photo(exif=exif, comment=b"taken at home")
