"""Pictures as taken in: decoded to be sure that they are pictures, and without what they carry besides."""

import io
import struct
import threading
import zlib

from PIL import Image, ImageFile, UnidentifiedImageError

from scheduler.domain.work.photos import picture_alone
from scheduler.errors import Refused

MOST_PIXELS = 40_000_000
"""Of a picture; decoded it takes at most four bytes for each."""
_MEDIA = {"JPEG": "image/jpeg", "MPO": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
_ORIENTATION, _CHANGED, _OF_CAMERA, _TAKEN, _TAKEN_OFFSET = 0x0112, 0x0132, 0x8769, 0x9003, 0x9011
_BROKEN = (OSError, ValueError, SyntaxError, EOFError, struct.error, zlib.error, IndexError, KeyError, TypeError)
_DECODING = threading.Lock()


def picture_taken_in(content: bytes) -> tuple[str, bytes]:
    """Media type and the bytes to store of a JPEG, PNG or WebP, told by its content and decoded whole, one at a time.

    Of Exif, which way up it is and when it was taken stay; the position, the camera and all else go.

    Raises:
        Refused: it is no such picture, it moves, it has more than `MOST_PIXELS`, or it cannot be decoded to its end.
    """
    with _DECODING:
        try:
            with Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as picture:
                _must_fit(picture)
                picture.load()
                media = _MEDIA[picture.format or ""]
                return media, picture_alone(content, media, _exif(picture))
        except UnidentifiedImageError as error:
            raise _refused(
                "a JPEG, PNG or WebP picture is expected; the content of this file is none of them"
            ) from error
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            raise _refused(_TOO_MANY) from error
        except _BROKEN as error:
            raise _refused("this picture is damaged or cut short; send it again, or save it anew") from error


_TOO_MANY = f"a picture may have at most {MOST_PIXELS // 1_000_000} million pixels; make it smaller"


def _must_fit(picture: ImageFile.ImageFile) -> None:
    if picture.width * picture.height > MOST_PIXELS:
        raise _refused(f"{_TOO_MANY} than {picture.width} x {picture.height}")
    if picture.format != "MPO" and getattr(picture, "n_frames", 1) > 1:
        raise _refused("a picture that moves cannot be taken; send one that stands still")


def _exif(picture: Image.Image) -> bytes:
    """Which way up, and when: as a TIFF structure, empty where neither is said."""
    there, kept = picture.getexif(), Image.Exif()
    for tag in (_ORIENTATION, _CHANGED):
        if tag in there:
            kept[tag] = there[tag]
    camera = there.get_ifd(_OF_CAMERA)
    when = {tag: camera[tag] for tag in (_TAKEN, _TAKEN_OFFSET) if tag in camera}
    if when:
        kept[_OF_CAMERA] = when
    return kept.tobytes().removeprefix(b"Exif\x00\x00") if len(kept) else b""


def _refused(says: str) -> Refused:
    return Refused(f"photo: {says}.", faults=[("/photo", says)])
