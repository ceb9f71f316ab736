"""A picture without what it carries besides itself: where it was taken, texts, further pictures, anything behind its end.

What is seen is left byte for byte, so a picture that carries nothing else keeps its hash.
"""

import re
import zlib
from collections.abc import Iterator

PHOTO = "photo kept"
"""Kind of the record of a photo."""
ENDINGS = {"image/png": "png", "image/jpeg": "jpg", "image/webp": "webp"}
"""Media type to the ending of the stored file."""
_ENTROPY_END = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_PNG_TAKEN = frozenset(b"IHDR PLTE IDAT IEND tRNS gAMA cHRM sRGB iCCP sBIT pHYs bKGD cICP eXIf".split())
_WEBP_TAKEN = frozenset((b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP", b"EXIF"))
_HAS_EXIF, _HAS_XMP = 0x08, 0x04


def picture_alone(content: bytes, media: str, exif: bytes) -> bytes:
    """The picture with its own Exif exchanged for `exif`, and without other metadata, comments and what follows its end.

    Args:
        content: a whole JPEG, PNG or WebP that was decoded without trouble.
        media: one of `ENDINGS`.
        exif: the TIFF structure to put in the place of its own (`II*...`); empty: none.

    Raises:
        ValueError: its parts do not add up.

    Source: ISO/IEC 10918-1 annex B, PNG specification third edition section 5, RFC 9649 section 2; Exif 2.32 section 4.7.2.
    """
    try:
        if media == "image/jpeg":
            return b"".join(_jpeg(content, exif))
        if media == "image/png":
            return content[:8] + b"".join(_png(content, exif))
        body = b"WEBP" + b"".join(_webp(content, exif))
        return b"RIFF" + len(body).to_bytes(4, "little") + body
    except IndexError as error:
        raise ValueError("it ends in the middle") from error


def _jpeg(content: bytes, exif: bytes) -> Iterator[bytes]:
    yield content[:2]
    at = 2
    while True:
        if content[at] != 0xFF:
            raise ValueError("no marker where one is due")
        marker = content[at + 1]
        if marker == 0xD9:
            yield b"\xff\xd9"
            return
        if marker == 0xFF or marker == 0x01 or 0xD0 <= marker <= 0xD7:  # filling, or a marker without a length
            at += 1 if marker == 0xFF else 2
            continue
        end = at + 2 + int.from_bytes(content[at + 2 : at + 4], "big")
        body = content[at + 4 : end]
        if marker == 0xE1 and body.startswith(b"Exif\x00"):
            if exif:
                own = b"Exif\x00\x00" + exif
                yield b"\xff\xe1" + (len(own) + 2).to_bytes(2, "big") + own
        elif (
            not (0xE0 <= marker <= 0xEF or marker == 0xFE) or marker in (0xE0, 0xEE) or body.startswith(b"ICC_PROFILE")
        ):
            yield content[at:end]
        at = end
        if marker == 0xDA:
            found = _ENTROPY_END.search(content, at)
            if found is None:
                raise ValueError("it has no end")
            yield content[at : found.start()]
            at = found.start()


def _png(content: bytes, exif: bytes) -> Iterator[bytes]:
    at, name = 8, b""
    while name != b"IEND":
        end = at + 12 + int.from_bytes(content[at : at + 4], "big")
        name = content[at + 4 : at + 8]
        if len(name) != 4 or end > len(content):
            raise IndexError
        if name == b"eXIf":
            if exif:
                yield len(exif).to_bytes(4, "big") + name + exif + zlib.crc32(name + exif).to_bytes(4, "big")
        elif name in _PNG_TAKEN:
            yield content[at:end]
        at = end


def _webp(content: bytes, exif: bytes) -> Iterator[bytes]:
    at, last = 12, 8 + int.from_bytes(content[4:8], "little")
    while at < min(last, len(content)):
        name, size = content[at : at + 4], int.from_bytes(content[at + 4 : at + 8], "little")
        body = content[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
        if name == b"VP8X":
            body = bytes([body[0] & ~_HAS_XMP & (0xFF if exif else ~_HAS_EXIF)]) + body[1:]
        elif name == b"EXIF":
            body = exif
        if name in _WEBP_TAKEN and (body or name != b"EXIF"):
            yield name + len(body).to_bytes(4, "little") + body + bytes(len(body) % 2)
