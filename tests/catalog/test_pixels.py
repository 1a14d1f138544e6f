"""Photos written anew. What must go is named in EXIF 2.32 and PNG (ISO/IEC 15948), from memory."""

import struct
import zlib
from io import BytesIO

import pytest
from PIL import Image, ImageCms, PngImagePlugin

from server.catalog import pixels
from server.catalog.pixels import LONGEST_SIDE, MOST_POINTS, SMALL_SIDE, NotAPhoto, rewrite
from tests import camera


def opened(data: bytes) -> Image.Image:
    return Image.open(BytesIO(data), formats=["JPEG"])


def is_red(pixel) -> bool:
    red, green, blue = pixel
    return bool(red > 180 and green < 80 and blue < 80)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_is_kept_as_a_jpeg_of_what_it_shows(kind):
    kept = rewrite(camera.photo(kind)).whole

    shown = opened(kept.data)
    assert (shown.format, shown.size) == ("JPEG", (320, 200)) == ("JPEG", (kept.width, kept.height))
    assert is_red(shown.getpixel((20, 100)))
    assert not is_red(shown.getpixel((300, 100)))


def test_where_it_was_taken_is_not_kept():
    sent = camera.located()
    assert Image.open(BytesIO(sent)).getexif().get_ifd(0x8825)

    for kept in (rewrite(sent).whole, rewrite(sent).small):
        shown = opened(kept.data)
        assert dict(shown.getexif()) == {}
        assert not {"exif", "comment", "icc_profile", "xmp"} & shown.info.keys()
        assert b"somebody" not in kept.data
        assert b"at home" not in kept.data


def test_words_in_a_png_are_not_kept():
    told = PngImagePlugin.PngInfo()
    told.add_text("Author", "somebody at home")

    assert b"somebody" not in rewrite(camera.photo("PNG", pnginfo=told)).whole.data


def test_a_photo_stands_upright():
    kept = rewrite(camera.located(turned=camera.TURNED)).whole

    assert (kept.width, kept.height) == (200, 320)
    assert is_red(opened(kept.data).getpixel((100, 20)))


def test_what_shines_through_is_laid_on_white():
    clear = Image.new("RGBA", (10, 10), (255, 0, 0, 0))

    assert opened(rewrite(camera.photo("PNG", clear)).whole.data).getpixel((5, 5)) == (255,) * 3


@pytest.mark.parametrize("mode", ["L", "P", "1", "I;16", "CMYK"])
def test_every_kind_of_points_can_be_kept(mode):
    picture = Image.new(mode, (20, 10))
    kind = "JPEG" if mode == "CMYK" else "PNG"

    assert rewrite(camera.photo(kind, picture)).whole.width == 20


def test_a_profile_of_colours_is_worked_in_and_dropped():
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    broken = b"no profile at all"

    for each in (profile, broken):
        shown = opened(rewrite(camera.photo(icc_profile=each)).whole.data)
        assert is_red(shown.getpixel((20, 100)))
        assert "icc_profile" not in shown.info


def test_a_large_photo_is_made_smaller_and_a_small_one_not_larger():
    kept = rewrite(camera.photo(picture=camera.scene(LONGEST_SIDE * 2, 300)))

    assert (kept.whole.width, kept.whole.height) == (LONGEST_SIDE, 150)
    assert (kept.small.width, kept.small.height) == (SMALL_SIDE, 22)
    assert rewrite(camera.photo(picture=camera.scene(8, 6))).small.width == 8


def png_that_says(width: int, height: int) -> bytes:
    """A PNG of a few bytes that unpacks to as many points as it says, if it is let."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        named = kind + data
        return struct.pack(">I", len(data)) + named + struct.pack(">I", zlib.crc32(named))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")


@pytest.mark.parametrize("side", [7_100, 20_000, 60_000])
def test_a_small_file_of_very_many_points_is_refused_before_it_is_unpacked(side, monkeypatch):
    monkeypatch.setattr(pixels, "_upright", None)  # to decode it would be an error
    assert side * side > MOST_POINTS

    with pytest.raises(NotAPhoto, match="50,000,000 points"):
        rewrite(png_that_says(side, side))


@pytest.mark.parametrize(
    "data",
    [b"", b"frames of a tape", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"GIF89a\x01\0\x01\0"],
)
def test_what_is_no_photo_is_refused(data):
    with pytest.raises(NotAPhoto, match="no JPEG, PNG or WebP"):
        rewrite(data)


@pytest.mark.parametrize("kind", ["BMP", "TIFF", "GIF"])
def test_a_format_that_is_not_taken_is_not_even_opened(kind):
    with pytest.raises(NotAPhoto, match="no JPEG, PNG or WebP"):
        rewrite(camera.photo(kind))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_cut_short_is_refused(kind):
    whole = camera.photo(kind, Image.effect_noise((200, 200), 90).convert("RGB"))

    with pytest.raises(NotAPhoto, match="damaged"):
        rewrite(whole[: len(whole) // 2])
