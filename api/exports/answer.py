"""What an export says about itself, as one JSON answer without the records."""

import json
from collections.abc import Iterable, Iterator

from api.exports.frame import ExportFrame, export_summary
from api.exports.judged import WORDS, judged
from scheduler.actions.record.history import ExportExtras
from scheduler.domain.record.chain import Record


def summary_json(records: Iterable[Record], frame: ExportFrame, extras: ExportExtras) -> Iterator[str]:
    """Vessel, period, choice, counts by verdict and record kind, completeness, and what was done in window by job kind."""
    found = export_summary(records)
    given = {
        **frame.given(),
        "records": found.records,
        "head": found.head,
        "completeness": found.completeness,
        "by_verdict": found.by_verdict,
        "by_record_kind": found.by_kind,
        "done_in_window": [one.given() for one in judged(found, extras.not_done)],
        "definitions": dict(WORDS),
    }
    yield json.dumps(given, ensure_ascii=False) + "\n"
