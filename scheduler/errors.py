"""Every error this project raises on purpose.

SchedulerError
├── BadRequest        400  the request cannot be read
├── NotSignedIn       401  nobody is known to be asking
├── NotAllowed        403  this person or key may not do that
├── NotFound          404  no such thing here (another vessel's thing too)
├── Clash             409  done already, or it would go below the minimum
├── Gone              410  it was here, and is not served any more
├── Stale             412  somebody changed it meanwhile
├── TooLarge          413  the body is over the limit
├── Refused           422  the input cannot be taken as it stands
├── MissingCondition  428  an If-Match or Idempotency-Key is needed
├── TooMany           429  too many tries
├── Busy              503  try again shortly
└── StorageFull       507  no room left, or a disk that cannot be written

`api/server/errors.py` gives each its status; a test holds the table complete. An expected outcome, such as a counter that
runs backwards, is a value kept for the engineer and never an exception. A message says what, which one, what was
expected and what to do now.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any


class SchedulerError(Exception):
    """Root of the tree.

    Args:
        says: one or two plain sentences: what, which one, what was expected, what to do now.
        faults: (JSON Pointer, sentence) pairs, one for each part of the input that is wrong; may be empty.
        more: extra members for the problem document, such as the times that hold.
    """

    def __init__(
        self, says: str, *, faults: Sequence[tuple[str, str]] = (), more: Mapping[str, Any] | None = None
    ) -> None:
        super().__init__(says)
        self.says = says
        self.faults = tuple(faults)
        self.more = dict(more or {})


class BadRequest(SchedulerError):
    """The request cannot be read at all: not JSON, not the media type, a malformed date."""


class NotSignedIn(SchedulerError):
    """No key, session or token, or one that is not known."""


class NotAllowed(SchedulerError):
    """Known, but this role may not do that."""


class NotFound(SchedulerError):
    """No such thing for this person; another vessel's thing looks the same."""


class Gone(SchedulerError):
    """It was here once and is not served any more."""


class Clash(SchedulerError):
    """The state of things forbids it: done already, or it would go below the minimum."""


class Stale(SchedulerError):
    """The version sent is not the version held."""


class TooLarge(SchedulerError):
    """The body is over the limit."""


class Refused(SchedulerError):
    """Readable, but it cannot be taken as it stands."""


class MissingCondition(SchedulerError):
    """An If-Match or Idempotency-Key header is needed and absent."""


class TooMany(SchedulerError):
    """Too many tries in a short time."""


class Busy(SchedulerError):
    """The queue is full or the database is held; try again shortly."""


class StorageFull(SchedulerError):
    """No room left, or a disk that cannot be written; nothing was stored."""


class SettingCode(StrEnum):
    """What is wrong with a setting; `wording.faults` says it."""

    UNKNOWN = "unknown"
    NOT_YES_OR_NO = "not yes or no"
    NOT_WHOLE = "not whole"
    OUT_OF_RANGE = "out of range"
    NO_TEXT = "no text"
    NO_FILE = "no file"
    LOG = "log"
    LOG_LEVEL = "log level"
    LEADS_NOWHERE = "leads nowhere"
    BELOW_A_PATH = "below a path"
    NO_NETWORK = "no network"


class SettingFault(ValueError):
    """A setting that cannot be taken: a code with its figures (given: the value; source: where it came from)."""

    def __init__(self, code: SettingCode, **figures: Any) -> None:
        super().__init__(code.value)
        self.code, self.figures = code, figures
