"""What the intake stores as it travels to the office: canonical texts of its rows, made without a detour, since there are many."""

import json
from collections.abc import Iterator, Mapping, Sequence

from scheduler.domain.shore.columns import one_text

_READING = '["reading","put",{"at_s":%d,"counter_no":%s,"received_s":%d,"skew_s":%d,"value_milli":%d}]'


def reading_texts(rows: Sequence[tuple[int, int, int, int, str, int]], ids: Mapping[int, str]) -> Iterator[bytes]:
    """Of each reading (counter_no, at_s, value_milli, received_s, vessel_id, skew_s), by counter and instant. ids: of the counters."""
    names = {no: json.dumps(name, ensure_ascii=False) for no, name in ids.items()}
    for no, at_s, value, received_s, _, skew_s in sorted(rows):
        yield (_READING % (at_s, names[no], received_s, skew_s, value)).encode()


def log_text(row: tuple[str, str, int, str, str, str]) -> bytes:
    """Of an item of the intake log (vessel_id, counter_ref, received_s, status, why, item)."""
    names = "counter_ref", "received_s", "status", "why", "item"
    return one_text(["intake_log", "put", dict(zip(names, row[1:], strict=True))])
