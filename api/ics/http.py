"""A calendar's HTTP answer: entity tag, conditions, compression, every header it needs."""

import gzip
import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import format_datetime, parsedate_to_datetime

MEDIA_TYPE = "text/calendar; charset=utf-8"


def etag_of(body: bytes) -> str:
    """The weak entity tag of a body: it stays the same when the body is sent compressed. Source: RFC 9110 8.8.3."""
    return f'W/"{hashlib.sha256(body).hexdigest()[:32]}"'


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedAnswer:
    """Status, headers and content of an answer; a HEAD sends the same without the content."""

    status: int
    headers: dict[str, str]
    content: bytes


def conditional(request_headers: Mapping[str, str], etag: str, changed_at: datetime) -> bool:
    """True when the asker holds this version, so that a 304 is due.

    If-None-Match outranks If-Modified-Since; tags are compared weakly; a date that cannot be read is ignored.
    Source: RFC 9110 13.1.2, 13.1.3, 13.2.2.

    Args:
        request_headers: looked up by lower-case name (Starlette's headers are case-insensitive).
    """
    tags = request_headers.get("if-none-match")
    if tags is not None:
        held = {tag.strip().removeprefix("W/") for tag in tags.split(",")}
        return tags.strip() == "*" or etag.removeprefix("W/") in held
    since = request_headers.get("if-modified-since")
    if since is None:
        return False
    try:
        at = parsedate_to_datetime(since)
    except (ValueError, TypeError, OverflowError):
        return False
    return changed_at <= (at if at.tzinfo else at.replace(tzinfo=UTC))


def calendar_answer(
    request_headers: Mapping[str, str],
    body: bytes,
    changed_at: datetime,
    *,
    etag: str | None = None,
    compress: bool = True,
    download_name: str | None = None,
) -> FeedAnswer:
    """The 200 or 304 for a feed, with every header it needs.

    Args:
        etag: kept with the body; none: computed.
        compress: gzip for those who ask (the `feed_gzip` setting).
        download_name: ASCII file name for `?download=1`.
    """
    tag = etag_of(body) if etag is None else etag
    headers = {
        "ETag": tag,
        "Last-Modified": format_datetime(changed_at.astimezone(UTC).replace(microsecond=0), usegmt=True),
        "Cache-Control": "private, no-cache",
        "Vary": "Accept-Encoding",
        "Referrer-Policy": "no-referrer",
        "X-Robots-Tag": "noindex",
        "X-Content-Type-Options": "nosniff",
    }
    if conditional(request_headers, tag, changed_at):
        return FeedAnswer(status=304, headers=headers, content=b"")
    headers["Content-Type"] = MEDIA_TYPE
    if download_name is not None:
        headers["Content-Disposition"] = f'attachment; filename="{re.sub(r"[^A-Za-z0-9._-]+", "-", download_name)}"'
    content = body
    if compress and takes_gzip(request_headers.get("accept-encoding", "")):
        content = gzip.compress(body, compresslevel=6, mtime=0)
        headers["Content-Encoding"] = "gzip"
    headers["Content-Length"] = str(len(content))
    return FeedAnswer(status=200, headers=headers, content=content)


def takes_gzip(accepts: str) -> bool:
    """Whether gzip is named with a weight above 0. Source: RFC 9110 12.5.3; `*` alone is not taken as asking."""
    for item in accepts.lower().split(","):
        name, _, weight = item.partition(";")
        if name.strip() in ("gzip", "x-gzip"):
            value = weight.strip().removeprefix("q=").strip() or "1"
            try:
                return float(value) > 0
            except ValueError:
                return False
    return False
