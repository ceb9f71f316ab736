"""Logs: text on a terminal, JSON lines otherwise. No token, key or link ever."""

import json
import logging
import re
import sys
from datetime import UTC, datetime
from typing import TextIO

_SECRET = re.compile(r"(/cal/|/enter/)[^/\s\"?]+|\bll_[0-9a-f]{8}_[A-Za-z0-9_-]+")


def clean(text: str) -> str:
    """The text with every secret replaced.

    >>> clean("GET /cal/abcDEF/plan.ics")
    'GET /cal/***/plan.ics'
    """
    return _SECRET.sub(lambda m: f"{m[1] or 'll_'}***", text)


class _Hide(logging.Filter):
    def filter(self, record: logging.LogRecord) -> bool:
        text = record.getMessage()
        hidden = clean(text)
        if hidden != text:
            record.msg, record.args = hidden, None
        return True


class _Json(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        line = {"at": at, "level": record.levelname.lower(), "from": record.name, "says": clean(record.getMessage())}
        if record.exc_info:
            line["trace"] = clean(self.formatException(record.exc_info))
        return json.dumps(line)


class _TextFormatter(logging.Formatter):
    def formatException(self, ei: object) -> str:  # noqa: N802 - the name of the base class
        return clean(super().formatException(ei))  # type: ignore[arg-type]


def hide_secrets() -> None:
    """Keep secrets out of the server's own log lines too (the access log prints addresses)."""
    for name in ("leadline", "leadline.requests", "uvicorn", "uvicorn.error", "uvicorn.access", "httpx", "apscheduler"):
        logger = logging.getLogger(name)
        if not any(isinstance(one, _Hide) for one in logger.filters):
            logger.addFilter(_Hide())


class _Lines(logging.StreamHandler[TextIO]):
    """A line that cannot be written, on a full disk or to a reader that is gone, is dropped: the server goes on."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: ARG002, N802 - the name of the base class
        return


def set_up(form: str, level: str = "info") -> None:
    """Send log lines to stdout in a form (text, json, or auto), from a level on (debug, info, warning, error)."""
    handler = _Lines(sys.stdout)
    as_json = form == "json" or (form == "auto" and not sys.stdout.isatty())
    handler.setFormatter(_Json() if as_json else _TextFormatter("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    handler.addFilter(_Hide())
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)
    for other in ("apscheduler", "alembic", "asyncio", "httpx", "httpcore", "tzlocal"):
        logging.getLogger(other).setLevel(max(logging.WARNING, logging.getLogger().level))
    hide_secrets()
