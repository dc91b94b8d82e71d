"""A photo as it was uploaded -> one that may be kept: upright, small, on white, in the colours of
every screen, and without what a camera writes into it, such as where it was taken. Pure: bytes in,
bytes out."""

from __future__ import annotations

import hashlib
import io
import threading
import warnings
from dataclasses import dataclass
from datetime import date, datetime
from typing import IO

import numpy as np
from PIL import Image, ImageCms, UnidentifiedImageError

MOST_BYTES = 30 * 1024 * 1024
MOST_PIXELS = 60_000_000
LONGEST_SIDE = 1600
THUMBNAIL_SIDE = 320
FORMATS = ("JPEG", "PNG", "WEBP")

#: What undoes each orientation of Exif 2.3, tag 0x0112; 1 stands upright.
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_ORIENTATION, _EXIF = 0x0112, 0x8769
_TAKEN = (0x9003, 0x9004)  # DateTimeOriginal, else DateTimeDigitized

#: Sixty million pixels take some hundreds of megabytes while they are read: one at a time, so that
#: several phones at once do not bring a small computer down.
_ONE_AT_A_TIME = threading.Lock()


class PhotoRefused(Exception):
    """A file that cannot be kept as a photo; says why and what to do, in words."""


@dataclass(frozen=True)
class Cleaned:
    """A photo that may be kept. jpeg: at most LONGEST_SIDE pixels; thumbnail: at most
    THUMBNAIL_SIDE; taken_on: the day that the camera had written into it, if it had."""

    jpeg: bytes
    thumbnail: bytes
    width: int
    height: int
    taken_on: date | None = None

    @property
    def digest(self) -> str:
        """What its address carries: another picture has another."""
        return hashlib.sha256(self.jpeg).hexdigest()[:32]


def cleaned(file: IO[bytes], name: str) -> Cleaned:
    """The picture in a file, as it may be kept.

    Of an animation it is the first picture. Raises PhotoRefused for a file that is empty or too
    large, that is no JPEG, PNG or WebP by its content whatever its name, that has too many
    pixels, or that is damaged.
    """
    called = known_as(name)
    raw = file.read(MOST_BYTES + 1)
    if not raw:
        raise PhotoRefused(f"{called} is empty, 0 bytes: take it again, or choose another.")
    if len(raw) > MOST_BYTES:
        raise PhotoRefused(f"{called} is larger than 30 MB: take it at a smaller size.")
    with _ONE_AT_A_TIME, warnings.catch_warnings():
        # What a decoder murmurs about a camera's notes is for no log; sizes are looked at here.
        warnings.simplefilter("ignore")
        picture, taken_on = _opened(raw, called)
        return Cleaned(
            _as_jpeg(picture, quality=85), thumbnail(picture), *picture.size, taken_on=taken_on
        )


def thumbnail(picture: Image.Image) -> bytes:
    """The same picture as a JPEG whose longer side is at most THUMBNAIL_SIDE pixels."""
    small = picture.copy()
    small.thumbnail((THUMBNAIL_SIDE, THUMBNAIL_SIDE))
    return _as_jpeg(small, quality=80)


def _opened(raw: bytes, called: str) -> tuple[Image.Image, date | None]:
    """The picture in RGB, upright and shrunk, and when it was taken."""
    try:
        with Image.open(io.BytesIO(raw), formats=FORMATS) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise PhotoRefused(
                    f"{called} has {opened.width} x {opened.height} pixels: at most 60 million, "
                    "take it at a smaller size."
                )
            opened.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))
            opened.load()
            orientation, taken_on = _noted_by_the_camera(opened)
            picture = _upright(_shrunk(opened), orientation)
    except PhotoRefused:
        raise
    except UnidentifiedImageError as error:
        raise PhotoRefused(_no_photo(raw, called)) from error
    except Image.DecompressionBombError as error:
        raise PhotoRefused(
            f"{called} has too many pixels: at most 60 million, take it at a smaller size."
        ) from error
    except Exception as error:  # whatever a decoder stumbles over in a file that was made to trip
        raise PhotoRefused(
            f"{called} is damaged and cannot be read to its end: take it again, or send it anew."
        ) from error
    return picture, taken_on


def _noted_by_the_camera(opened: Image.Image) -> tuple[int, date | None]:
    """How the camera was held and when; what cannot be read there costs nobody the picture."""
    try:
        exif = opened.getexif()
        within = exif.get_ifd(_EXIF)
        said = [exif.get(_ORIENTATION), *(within.get(tag) for tag in _TAKEN)]
    except Exception:  # as above
        return 1, None
    days = [day for day in map(_day, said[1:]) if day is not None]
    return said[0] if isinstance(said[0], int) else 1, days[0] if days else None


def _day(said: object) -> date | None:
    """The day of Exif's "2026:11:25 21:03:44"."""
    try:
        return datetime.strptime(str(said)[:10], "%Y:%m:%d").date()  # noqa: DTZ007
    except ValueError:
        return None


def _shrunk(opened: Image.Image) -> Image.Image:
    """At most LONGEST_SIDE, what is seen through on white, in RGB."""
    profile = opened.info.get("icc_profile")
    if opened.mode.startswith("I"):  # sixteen bits of grey, the upper eight of which are seen
        deep = np.asarray(opened).astype(np.uint32)
        opened = Image.fromarray((deep >> 8).clip(0, 255).astype(np.uint8))
    sees_through = opened.has_transparency_data
    if sees_through:
        opened = opened.convert("RGBA")
    elif opened.mode not in ("L", "RGB", "CMYK"):
        opened = opened.convert("RGB")
    opened.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    if sees_through:
        paper = Image.new("RGBA", opened.size, "white")
        opened = Image.alpha_composite(paper, opened).convert("RGB")
    return _in_common_colours(opened, profile)


def _in_common_colours(picture: Image.Image, profile: bytes | None) -> Image.Image:
    """In sRGB: without its profile, which goes too, a phone's wide colours would look dull."""
    if profile:
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            common = ImageCms.createProfile("sRGB")
            return ImageCms.profileToProfile(picture, own, common, outputMode="RGB")
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            pass  # a profile that says nothing sound
    return picture.convert("RGB")


def _upright(picture: Image.Image, orientation: int) -> Image.Image:
    turn = _UPRIGHT.get(orientation)
    return picture if turn is None else picture.transpose(turn)


def _as_jpeg(picture: Image.Image, *, quality: int) -> bytes:
    # Drawn onto a new picture, so that nothing but its pixels goes along.
    bare = Image.new("RGB", picture.size)
    bare.paste(picture)
    kept = io.BytesIO()
    bare.save(kept, "JPEG", quality=quality, optimize=True, progressive=True)
    return kept.getvalue()


# --- Words ------------------------------------------------------------------------------------

#: How files begin that people take for photos.
_BEGINNINGS = (
    (b"GIF8", "a GIF"),
    (b"II*\x00", "a TIFF or a camera’s raw file"),
    (b"MM\x00*", "a TIFF or a camera’s raw file"),
    (b"%PDF", "a PDF"),
    (b"BM", "a Windows bitmap"),
    (b"PK\x03\x04", "a zip or an office document"),
)


def known_as(name: str) -> str:
    """A file's name as it can be said: short, and with nothing that is not seen."""
    seen = "".join(ch for ch in name if ch.isprintable()).strip() or "The file"
    return seen if len(seen) <= 60 else f"{seen[:40]}…{seen[-12:]}"


def _no_photo(raw: bytes, called: str) -> str:
    no_photo = f"{called} is no JPEG, PNG or WebP picture"
    if raw[4:8] == b"ftyp":
        if raw[8:12] in (b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"avif"):
            return (
                f"{no_photo} but a HEIC or AVIF. An iPhone’s HEIC becomes a JPEG under Settings, "
                "Camera, Formats: most compatible."
            )
        return f"{no_photo} but a film: take a photo instead."
    start = raw[:512].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start.startswith((b"<svg", b"<?xml", b"<!DOCTYPE", b"<html")):
        return f"{no_photo} but a drawing or a page in text: save it as a PNG first."
    for beginning, kind in _BEGINNINGS:
        if raw.startswith(beginning):
            return f"{no_photo} but {kind}: save it as a JPEG first."
    return f"{no_photo}, whatever its name says: save it as a JPEG first."
