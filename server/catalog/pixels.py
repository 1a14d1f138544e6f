"""Photographs written anew: what they show and nothing else, in one format and of modest size.

What a camera adds is dropped: where it was taken, with what and when. Only what was decoded to
points and encoded again is ever kept, so that nothing else that a file may hold comes through.
"""

import hashlib
import warnings
from dataclasses import dataclass
from io import BytesIO
from typing import Final

from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

FORMATS: Final = ("JPEG", "PNG", "WEBP")
KEPT_TYPE: Final = "image/jpeg"

LONGEST_SIDE: Final = 2400
"""Points along the longer side of what is kept: at arm's length of a tape, its frames are clear."""
SMALL_SIDE: Final = 360
MOST_POINTS: Final = 50_000_000
"""Points of the largest photo: more than cameras of today's phones give (common practice)."""

_QUALITY: Final = 85
_GROUND: Final = (255, 255, 255)


class NotAPhoto(Exception):
    """The file is no photo that can be kept; `mend` says what to do."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend


@dataclass(frozen=True, slots=True)
class Picture:
    """A JPEG file, and its size in points."""

    data: bytes
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Rewritten:
    """A photo as it is kept: whole, and made small for lists."""

    whole: Picture
    small: Picture

    @property
    def sha256(self) -> str:
        """The name of the file that is kept."""
        return hashlib.sha256(self.whole.data).hexdigest()


def rewrite(data: bytes) -> Rewritten:
    """A photo of `FORMATS`, decoded and encoded anew, upright, without anything that went with it.

    Raises:
        NotAPhoto: it is of another format, damaged, or has too many points.
    """
    try:
        with warnings.catch_warnings():
            # The library warns of what we measure ourselves, before anything is decoded.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(BytesIO(data), formats=FORMATS) as opened:
                _require_size(opened)
                return _both(_upright(opened))
    except UnidentifiedImageError:
        raise NotAPhoto(
            "It is no JPEG, PNG or WebP file.", "Save the photo as one of these, and choose that."
        ) from None
    except Image.DecompressionBombError:
        raise _too_large() from None
    except (OSError, SyntaxError, ValueError, EOFError):
        # What the decoders raise on damaged files is any of these.
        raise NotAPhoto(
            "The file is damaged: it cannot be decoded to its end.",
            "Take it from the camera again.",
        ) from None


def _too_large() -> NotAPhoto:
    return NotAPhoto(
        f"It has more than {MOST_POINTS:,} points.", "Make it smaller, and choose that."
    )


def _require_size(opened: Image.Image) -> None:
    if opened.width * opened.height > MOST_POINTS:
        raise _too_large()


def _upright(opened: Image.Image) -> Image.Image:
    """The points, turned as the camera was held, in the colours of the web, on a white ground."""
    opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    upright = ImageOps.exif_transpose(opened)
    if upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info:
        layered = upright.convert("RGBA")
        ground = Image.new("RGB", layered.size, _GROUND)
        ground.paste(layered, mask=layered.getchannel("A"))
        return ground
    return _in_srgb(upright).convert("RGB")


def _in_srgb(picture: Image.Image) -> Image.Image:
    """The picture with its colours as the web takes them; as they are where that cannot be told."""
    profile = picture.info.get("icc_profile")
    if not profile or picture.mode != "RGB":
        return picture
    try:
        source = ImageCms.ImageCmsProfile(BytesIO(profile))
        turned = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError, ValueError):
        return picture
    return turned or picture


def _both(picture: Image.Image) -> Rewritten:
    whole = _fitted(picture, LONGEST_SIDE)
    return Rewritten(_encoded(whole), _encoded(_fitted(whole, SMALL_SIDE)))


def _fitted(picture: Image.Image, side: int) -> Image.Image:
    """The picture, made smaller where its longer side has more than `side` points."""
    longest = max(picture.size)
    if longest <= side:
        return picture
    width, height = (max(1, round(each * side / longest)) for each in picture.size)
    return picture.resize((width, height), Image.Resampling.LANCZOS)


def _encoded(picture: Image.Image) -> Picture:
    # The file is made of the points alone: neither notes nor profile go with it.
    bare = Image.frombytes("RGB", picture.size, picture.tobytes())
    out = BytesIO()
    bare.save(out, "JPEG", quality=_QUALITY, optimize=True, progressive=True)
    return Picture(out.getvalue(), bare.width, bare.height)
