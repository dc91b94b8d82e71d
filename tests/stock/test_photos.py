"""Photos as they are uploaded, and what may not be kept.

Pillow makes the pictures; what came of them is looked at by other means too: the segments of the
JPEG are walked by hand (ITU-T T.81, annex B), and turning is done anew with numpy from the table
of Exif 2.3, tag 0x0112.
"""

from __future__ import annotations

import io
import random
import struct
import zlib
from datetime import date

import numpy as np
import pytest
from PIL import Image, ImageCms

from inventory.stock import photos
from inventory.stock.photos import LONGEST_SIDE, THUMBNAIL_SIDE, PhotoRefused, cleaned


def written(picture: Image.Image, form: str = "JPEG", **saved) -> io.BytesIO:
    file = io.BytesIO()
    picture.save(file, form, **saved)
    file.seek(0)
    return file


def picture(form: str = "JPEG", size: tuple[int, int] = (40, 20), **saved) -> io.BytesIO:
    made = Image.new("RGB", size, "white")
    made.paste("black", (0, 0, size[0] // 2, size[1]))  # its left half is black
    return written(made, form, **saved)


def seen(raw: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(raw)) as opened:
        assert (opened.format, opened.mode) == ("JPEG", "RGB")
        return np.asarray(opened).astype(int)


def segments(jpeg: bytes) -> list[int]:
    """The markers of a JPEG up to its last one, and nothing may follow that."""
    found, at = [], 0
    while at < len(jpeg):
        assert jpeg[at] == 0xFF
        marker = jpeg[at + 1]
        found.append(marker)
        at += 2
        if marker in (0xD8, 0xD9):
            continue
        at += struct.unpack(">H", jpeg[at : at + 2])[0]
        if marker == 0xDA:  # the picture's data, in which FF is followed by 00 or a restart
            while jpeg[at] != 0xFF or jpeg[at + 1] == 0 or 0xD0 <= jpeg[at + 1] <= 0xD7:
                at += 1
    return found


#: Start and end, the JFIF head, tables, frames and scans: what a picture needs and no more.
BARE = {0xD8, 0xD9, 0xE0, 0xDB, 0xC0, 0xC2, 0xC4, 0xDA}


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_photo_then_is_kept_as_a_jpeg(form) -> None:
    kept = cleaned(picture(form), "a")

    assert seen(kept.jpeg).shape == (20, 40, 3)
    assert (kept.width, kept.height) == (40, 20)
    assert set(segments(kept.jpeg)) <= BARE
    assert set(segments(kept.thumbnail)) <= BARE


#: Where the first row and the first column of what is stored are in the scene (Exif 2.3, 0x0112).
SCENE_FROM_STORED = {
    1: lambda stored: stored,
    2: lambda stored: stored[:, ::-1],
    3: lambda stored: stored[::-1, ::-1],
    4: lambda stored: stored[::-1],
    5: lambda stored: stored.swapaxes(0, 1),
    6: lambda stored: stored[::-1].swapaxes(0, 1),
    7: lambda stored: stored[::-1, ::-1].swapaxes(0, 1),
    8: lambda stored: stored[:, ::-1].swapaxes(0, 1),
}


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_photo_of_a_turned_camera_then_stands_upright(orientation, form) -> None:
    """Four corners of four colours, so that no turn and no mirror looks like another."""
    made = Image.new("RGB", (96, 64), "white")
    for corner, colour in (((0, 0), "red"), ((64, 0), "lime"), ((0, 32), "blue")):
        made.paste(colour, (*corner, corner[0] + 32, corner[1] + 32))
    exif = Image.Exif()
    exif[0x0112] = orientation

    kept = seen(cleaned(written(made, form, exif=exif, **QUALITY[form]), "a").jpeg)

    expected = SCENE_FROM_STORED[orientation](np.asarray(made).astype(int))
    assert kept.shape == expected.shape
    assert np.abs(kept - expected).mean() < 8


QUALITY = {"JPEG": {"quality": 95}, "PNG": {}, "WEBP": {"quality": 95}}


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_photo_with_place_maker_and_comment_then_tells_none_of_it(form) -> None:
    """0x8825 holds the position, 0x9286 the user's comment, 0x9003 when it was taken."""
    exif = Image.Exif()
    exif[0x010F] = "a maker <script>alert(1)</script>"
    exif.get_ifd(0x8825)[1], exif.get_ifd(0x8825)[2] = "N", (51.0, 30.0, 0.0)
    exif.get_ifd(0x8769)[0x9003] = "2024:05:06 23:59:59"
    exif.get_ifd(0x8769)[0x9286] = b"UserSecret"
    saved = {"exif": exif, "xmp": b"<x:xmpmeta>XmpSecret</x:xmpmeta>"}
    if form == "JPEG":
        saved["comment"] = b"<script>CommentSecret</script>"
    if form == "PNG":
        saved.pop("xmp")
    taken = picture(form, **saved)
    assert b"<script>" in taken.getvalue()

    kept = cleaned(taken, "a")

    assert kept.taken_on == date(2024, 5, 6)
    for raw in (kept.jpeg, kept.thumbnail):
        assert set(segments(raw)) <= BARE
        for told in (b"Exif", b"maker", b"script", b"Secret", b"xmp", b"GPS"):
            assert told not in raw
        with Image.open(io.BytesIO(raw)) as opened:
            assert not opened.getexif()
            assert set(opened.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"} | {
                "progressive",
                "progression",
            }


@pytest.mark.parametrize(
    ("said", "day"),
    [
        ("2024:02:29 12:00:00", date(2024, 2, 29)),
        ("2023:02:29 12:00:00", None),
        ("0000:00:00 00:00:00", None),
        ("    :  :     :  :  ", None),
        ("yesterday", None),
    ],
)
def test_day_that_a_camera_noted_then_is_read_or_left(said, day) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = said

    assert cleaned(picture(exif=exif), "a").taken_on == day


def test_photo_that_is_large_then_is_shrunk_and_has_a_thumbnail() -> None:
    kept = cleaned(picture(size=(5000, 2500)), "a")

    assert seen(kept.jpeg).shape[:2] == (LONGEST_SIDE // 2, LONGEST_SIDE)
    assert seen(kept.thumbnail).shape[:2] == (THUMBNAIL_SIDE // 2, THUMBNAIL_SIDE)
    assert len(kept.thumbnail) < 8_000


def test_photo_as_long_as_a_train_then_keeps_a_pixel_of_height() -> None:
    kept = cleaned(picture("PNG", size=(60_000, 3)), "a")

    assert (kept.width, kept.height) == (LONGEST_SIDE, 1)


def palette_with_holes() -> Image.Image:
    made = Image.new("P", (40, 20), 1)
    made.putpalette([0, 0, 0, 200, 0, 0])
    made.paste(0, (0, 0, 20, 20))
    made.info["transparency"] = 0  # what is black in the palette is a hole
    return made


@pytest.mark.parametrize(
    ("made", "saved"),
    [
        (Image.new("RGBA", (40, 20), (0, 0, 0, 0)), {}),
        (Image.new("LA", (40, 20), (0, 0)), {}),
        (palette_with_holes(), {"transparency": 0}),
        (Image.new("L", (40, 20), 0), {"transparency": 0}),
        (Image.new("RGB", (40, 20), 0), {"transparency": (0, 0, 0)}),
    ],
    ids=["RGBA", "LA", "palette", "one grey is a hole", "one colour is a hole"],
)
def test_png_with_holes_then_lies_on_white(made, saved) -> None:
    left = seen(cleaned(written(made, "PNG", **saved), "a").jpeg)[:, :12]

    assert left.min() > 245


def test_png_half_seen_through_then_is_mixed_with_white() -> None:
    kept = seen(cleaned(written(Image.new("RGBA", (40, 20), (0, 0, 0, 128)), "PNG"), "a").jpeg)

    assert abs(kept - 127).max() <= 2  # 255 x (1 - 128/255)


def deep_png(values: list[int]) -> io.BytesIO:
    """A PNG of 16 bits of grey, written by hand (W3C PNG, 11.2)."""
    rows = b"".join(b"\0" + struct.pack(f">{len(values)}H", *values) for _ in range(16))
    return io.BytesIO(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", len(values), 16, 16, 0, 0, 0, 0))
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def test_png_of_sixteen_bits_then_keeps_its_greys() -> None:
    kept = seen(cleaned(deep_png([0] * 16 + [32_896] * 16 + [65_535] * 16), "a").jpeg)

    assert [round(kept[8, x].mean()) for x in (4, 24, 44)] == pytest.approx([0, 128, 255], abs=2)


def test_jpeg_in_printers_colours_then_is_kept_in_those_of_the_screen() -> None:
    made = Image.new("CMYK", (40, 20), (0, 255, 255, 0))  # magenta and yellow: red

    kept = seen(cleaned(written(made, quality=95), "a").jpeg)

    assert kept[10, 20, 0] > 220
    assert kept[10, 20, 1:].max() < 40


def test_photo_with_a_colour_profile_then_is_carried_over_to_the_common_one() -> None:
    """Little CMS itself says what the colour should be."""
    flat = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))
    made = Image.new("RGB", (40, 20), (200, 30, 60))
    broken = cleaned(written(made, icc_profile=b"no profile at all", quality=95), "a")
    other_space = cleaned(written(made, icc_profile=flat.tobytes(), quality=95), "a")
    for kept in (broken, other_space):
        assert np.abs(seen(kept.jpeg)[10, 20] - (200, 30, 60)).max() <= 4

    wide = swapped_profile()
    kept = seen(cleaned(written(made, icc_profile=wide, quality=95), "a").jpeg)[10, 20]
    told = ImageCms.profileToProfile(
        made, ImageCms.ImageCmsProfile(io.BytesIO(wide)), ImageCms.createProfile("sRGB")
    ).getpixel((20, 10))
    assert np.abs(np.array(told) - (200, 30, 60)).max() > 50  # the profile says something
    assert np.abs(kept - told).max() <= 6


def swapped_profile() -> bytes:
    """sRGB with the names of its red and green exchanged, so that it is not to be overlooked."""
    raw = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return raw.replace(b"rXYZ", b"tmpX").replace(b"gXYZ", b"rXYZ").replace(b"tmpX", b"gXYZ")


def test_animation_then_its_first_picture_is_kept() -> None:
    first, second = Image.new("RGB", (40, 20), "red"), Image.new("RGB", (40, 20), "blue")
    moving = written(first, "WEBP", save_all=True, append_images=[second], duration=100)
    with Image.open(io.BytesIO(moving.getvalue())) as opened:
        assert opened.n_frames == 2

    kept = seen(cleaned(moving, "a").jpeg)

    assert kept[10, 20, 0] > 220
    assert kept[10, 20, 2] < 40


def test_jpeg_of_a_camera_that_stores_two_then_the_first_is_kept() -> None:
    """CIPA DC-007, as phones store a second picture for depth or brightness."""
    first, second = Image.new("RGB", (40, 20), "red"), Image.new("RGB", (40, 20), "blue")
    both = written(first, "MPO", save_all=True, append_images=[second])
    with Image.open(io.BytesIO(both.getvalue())) as opened:
        assert (opened.format, opened.n_frames) == ("MPO", 2)

    kept = cleaned(both, "a")

    assert seen(kept.jpeg)[10, 20, 0] > 220
    assert segments(kept.jpeg).count(0xD8) == 1


def test_jpeg_with_a_program_or_an_archive_behind_it_then_only_the_picture_is_kept() -> None:
    behind = b"PK\x03\x04 archive <script>alert(1)</script> <?php system('x'); ?>"

    kept = cleaned(io.BytesIO(picture().getvalue() + behind), "a")

    for raw in (kept.jpeg, kept.thumbnail):
        assert set(segments(raw)) <= BARE
        assert b"script" not in raw
        assert b"PK\x03\x04" not in raw


def huge_png() -> bytes:
    """30,000 x 30,000 of nothing in under a megabyte."""
    squeezed = zlib.compressobj(9)
    row = b"\0" * (30_000 // 8 + 1)
    data = b"".join(squeezed.compress(row * 100) for _ in range(300)) + squeezed.flush()
    head = struct.pack(">IIBBBBB", 30_000, 30_000, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "is empty, 0 bytes: take it again"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "save it as a PNG first"),
        (b"<?xml version='1.0'?><svg/>", "a drawing or a page in text"),
        (b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic", "HEIC becomes a JPEG"),
        (b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2", "but a film: take a photo"),
        (b"%PDF-1.7 not a picture", "but a PDF: save it as a JPEG first"),
        (picture("GIF").getvalue(), "but a GIF"),
        (picture("TIFF").getvalue(), "but a TIFF"),
        (picture("BMP").getvalue(), "but a Windows bitmap"),
        (b"\x1f\x8b\x08 whatever", "whatever its name says"),
        (picture(size=(600, 600)).getvalue()[:900], "is damaged .* take it again"),
        (picture("PNG", size=(600, 600)).getvalue()[:-40], "is damaged"),
        (picture("WEBP", size=(600, 600)).getvalue()[:60], "is damaged|is no JPEG"),
        (huge_png(), "30000 x 30000 pixels|too many pixels"),
    ],
    ids=[
        "empty", "svg", "svg with a head", "heic", "film", "pdf", "gif", "tiff", "bmp", "gzip",
        "jpeg cut off", "png cut off", "webp cut off", "30,000 x 30,000",
    ],
)  # fmt: skip
def test_file_that_is_no_photo_then_is_refused_in_words(raw, words) -> None:
    assert len(raw) < 1_000_000

    with pytest.raises(PhotoRefused, match=rf"^picture\.jpg .*({words})"):
        cleaned(io.BytesIO(raw), "picture.jpg")


def test_file_that_is_too_large_then_is_refused_before_it_is_read(monkeypatch) -> None:
    monkeypatch.setattr(photos, "MOST_BYTES", 100)
    endless = io.BytesIO(b"\xff\xd8" + bytes(1_000_000))

    with pytest.raises(
        PhotoRefused, match=r"a larger one\.jpg is larger than 30 MB: take it at a"
    ):
        cleaned(endless, "a larger one.jpg")

    assert endless.tell() == 101


def test_name_that_is_long_or_unseen_then_is_said_short() -> None:
    with pytest.raises(PhotoRefused) as refused:
        cleaned(io.BytesIO(b""), "x" * 200 + "\x1b[2J\u202e.jpg")

    assert "\x1b" not in str(refused.value)
    assert "\u202e" not in str(refused.value)
    assert str(refused.value).startswith("x" * 40 + "…")
    assert len(str(refused.value)) < 130


def test_files_with_bytes_changed_at_random_then_are_kept_or_refused_and_nothing_else() -> None:
    """2,000 of them with a fixed seed."""
    dice = random.Random(4)
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0x9003] = "2024:05:06 07:08:09"
    n_kept = n_refused = 0
    for form in ("JPEG", "PNG", "WEBP"):
        whole = picture(form, size=(60, 40), exif=exif).getvalue()
        for _ in range(667):
            raw = bytearray(whole)
            for _ in range(dice.randint(1, 5)):
                raw[dice.randrange(min(len(raw), 300))] = dice.randrange(256)
            try:
                kept = cleaned(io.BytesIO(bytes(raw)), "a")
            except PhotoRefused:
                n_refused += 1
            else:
                n_kept += 1
                assert set(segments(kept.jpeg)) <= BARE
    assert n_kept > 100
    assert n_refused > 100
