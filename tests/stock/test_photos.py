"""Photos as they are uploaded, and what may not be kept. Pillow itself makes and reads them."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from inventory.stock import photos
from inventory.stock.photos import LONGEST_SIDE, PhotoRefused, cleaned


def picture(form: str = "JPEG", size: tuple[int, int] = (40, 20), **saved) -> io.BytesIO:
    made = Image.new("RGB", size, "white")
    made.paste("black", (0, 0, size[0] // 2, size[1]))  # its left half is black
    file = io.BytesIO()
    made.save(file, form, **saved)
    file.seek(0)
    return file


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_photo_then_is_kept_as_a_jpeg(form) -> None:
    with Image.open(io.BytesIO(cleaned(picture(form), "a"))) as kept:
        assert (kept.format, kept.size) == ("JPEG", (40, 20))


def test_photo_of_a_turned_camera_then_stands_upright_and_tells_no_place() -> None:
    """Exif 2.3: orientation (0x0112) 6 is turned by 90 degrees; 0x8825 holds the position."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "a maker"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    taken = picture(exif=exif)
    assert b"a maker" in taken.getvalue()

    kept_bytes = cleaned(taken, "a")

    with Image.open(io.BytesIO(kept_bytes)) as kept:
        assert kept.size == (20, 40)
        assert kept.getpixel((10, 4))[0] < 60  # the black half is on top now
        assert not kept.getexif()
    assert b"a maker" not in kept_bytes
    assert b"Exif" not in kept_bytes


def test_photo_that_is_large_then_is_shrunk() -> None:
    with Image.open(io.BytesIO(cleaned(picture(size=(5000, 2500)), "a"))) as kept:
        assert kept.size == (LONGEST_SIDE, LONGEST_SIDE // 2)


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "is no JPEG, PNG or WebP"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "is no JPEG"),
        (b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic", "HEIC becomes a JPEG"),
        (b"%PDF-1.7 not a picture", "is no JPEG"),
        (picture("GIF").getvalue(), "is no JPEG"),
        (picture(size=(600, 600)).getvalue()[:900], "is damaged"),
        (picture("PNG", size=(30_000, 30_000)).getvalue(), "pixels"),
    ],
    ids=["empty", "svg", "heic", "pdf", "gif", "cut off", "30,000 x 30,000"],
)
def test_file_that_is_no_photo_then_is_refused_in_words(raw, words) -> None:
    with pytest.raises(PhotoRefused, match=words):
        cleaned(io.BytesIO(raw), "picture.jpg")


def test_file_that_is_too_large_then_is_refused_before_it_is_read(monkeypatch) -> None:
    monkeypatch.setattr(photos, "MOST_BYTES", 100)

    with pytest.raises(PhotoRefused, match="larger than 30 MB"):
        cleaned(picture(), "a")
