"""A record's members as read from the text it was hashed over."""

import json
from typing import Any

from scheduler.domain.record.chain import Record


def payload_of(record: Record) -> dict[str, Any]:
    """The members of a record; one that is no mapping stands under `other`."""
    payload = json.loads(record.text)
    return payload if isinstance(payload, dict) else {"other": payload}
