"""Pictures that come in: type checked by reading them, made small, written anew without metadata."""

import warnings
from dataclasses import dataclass
from io import BytesIO
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError

FORMATS: Final = ("JPEG", "PNG", "WEBP")
"""Formats that are read; what phones call MPO is read as the JPEG that it begins with."""

LARGEST_BYTES: Final = 12 * 2**20
LARGEST_PIXELS: Final = 60_000_000
"""A picture of a phone has up to 50 million; what claims more is likely made to fill the memory."""

LONGEST_EDGE: Final = 1600
QUALITY: Final = 80


class UnreadablePicture(ValueError):
    """What came in is no picture that can be kept; the message says what to send."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A JPEG of ours, without anything but its pixels."""

    content: bytes
    width: int
    height: int


def small_jpeg(content: bytes) -> Picture:
    """Return a picture turned upright, at most 1600 pixels long, as a JPEG without metadata.

    Where it was taken, when and with what is not kept: only pixels are copied.

    Raises:
        UnreadablePicture: too large, or no JPEG, PNG or WebP.
    """
    if len(content) > LARGEST_BYTES:
        raise UnreadablePicture(f"Send a picture of at most {LARGEST_BYTES // 2**20} MB.")
    try:
        with warnings.catch_warnings():
            # Pillow warns of pictures that it finds too large; we refuse by our own limit below.
            warnings.simplefilter("ignore")
            with Image.open(BytesIO(content), formats=FORMATS) as picture:
                if picture.width * picture.height > LARGEST_PIXELS:
                    raise UnreadablePicture("Send a picture of at most 60 million pixels.")
                upright = ImageOps.exif_transpose(picture).convert("RGB")
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, SyntaxError, ValueError) as error:
        if isinstance(error, UnreadablePicture):
            raise
        raise UnreadablePicture("Send a picture as JPEG, PNG or WebP; this file is none.") from error
    upright.thumbnail((LONGEST_EDGE, LONGEST_EDGE))
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    written = BytesIO()
    bare.save(written, "JPEG", quality=QUALITY, optimize=True)
    return Picture(written.getvalue(), bare.width, bare.height)
