"""A photo as it was uploaded -> one that may be kept: upright, small, and without what a camera
writes into it, such as where it was taken. Pure: bytes in, bytes out."""

from __future__ import annotations

import io
import warnings
from typing import IO

from PIL import Image, ImageOps, UnidentifiedImageError

MOST_BYTES = 30 * 1024 * 1024
MOST_PIXELS = 60_000_000
LONGEST_SIDE = 1600
FORMATS = ("JPEG", "PNG", "WEBP")


class PhotoRefused(Exception):
    """A file that cannot be kept as a photo; says why and what to do, in words."""


def cleaned(file: IO[bytes], name: str) -> bytes:
    """A JPEG of the picture in a file, its longer side at most LONGEST_SIDE pixels.

    Raises PhotoRefused for a file that is too large, that is no JPEG, PNG or WebP by its content
    whatever its name, or that is damaged.
    """
    raw = file.read(MOST_BYTES + 1)
    if len(raw) > MOST_BYTES:
        raise PhotoRefused(f"{name} is larger than 30 MB: take it at a smaller size.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(raw), formats=FORMATS) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    raise PhotoRefused(_too_many(name, opened.width, opened.height))
                opened.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))
                picture = ImageOps.exif_transpose(opened).convert("RGB")
    except UnidentifiedImageError as error:
        raise PhotoRefused(
            f"{name} is no JPEG, PNG or WebP picture. An iPhone's HEIC becomes a JPEG under "
            "Settings, Camera, Formats: most compatible."
        ) from error
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PhotoRefused(f"{name} has too many pixels: at most 60 million.") from error
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError) as error:
        raise PhotoRefused(f"{name} is damaged and cannot be read: {error}.") from error
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    kept = io.BytesIO()
    # Drawn onto a new picture, so that nothing but its pixels goes along.
    bare = Image.new("RGB", picture.size)
    bare.paste(picture)
    bare.save(kept, "JPEG", quality=85, optimize=True)
    return kept.getvalue()


def _too_many(name: str, width: int, height: int) -> str:
    return f"{name} has {width} x {height} pixels: at most 60 million, take it at a smaller size."
