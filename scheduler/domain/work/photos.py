"""Which picture a file is, told by its first bytes and never by its name."""

_PNG = b"\x89PNG\r\n\x1a\n"
_JPEG = b"\xff\xd8\xff"
ENDINGS = {"image/png": "png", "image/jpeg": "jpg", "image/webp": "webp"}
"""Media type to the ending of the kept file."""


def picture_type(content: bytes) -> str | None:
    """Media type of a JPEG, PNG or WebP; none for anything else.

    Source: ISO/IEC 10918-1 (SOI marker), PNG specification third edition 5.2, RFC 9649 section 2.1 (WebP in RIFF).

    >>> picture_type(b"RIFF\\x24\\x00\\x00\\x00WEBPVP8 "), picture_type(b"<svg onload=x>")
    ('image/webp', None)
    """
    if content.startswith(_PNG):
        return "image/png"
    if content.startswith(_JPEG):
        return "image/jpeg"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    return None
