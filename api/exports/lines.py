"""The history as JSON Lines that can be verified offline; `history.schema.json` describes each line."""

from collections.abc import Iterable, Iterator

from api.exports.frame import ExportFrame, export_summary
from api.exports.judged import VerdictCounts, judged
from scheduler.domain.record.chain import Record
from scheduler.domain.record.verify import header_line, spelled
from scheduler.errors import Refused


def jsonl(records: Iterable[Record], frame: ExportFrame) -> Iterator[str]:
    """The export line by line, each with its line feed: the header, then each record as it was hashed.

    Args:
        records: by number, gone through twice. Without a filter they must have no gap.

    Raises:
        Refused: a gap or disorder in an export that says it is unfiltered.
    """
    found = export_summary(records)
    if frame.filter is None and found.gaps:
        raise Refused(f"Records {', '.join(found.gaps)} are missing or out of order, yet the export states no filter.")
    yield (
        header_line(
            {
                **frame.given(),
                "records": found.records,
                "first_number": found.first_number,
                "last_number": found.last_number,
                "previous_hash": found.previous_hash,
                "head": found.head,
                "completeness": found.completeness,
                "judged": _told(judged(found)[0]),
            }
        )
        + "\n"
    )
    for record in records:
        yield (
            spelled(
                {
                    "number": record.number,
                    "text": record.text,
                    "previous_hash": record.previous_hash,
                    "hash": record.hash,
                }
            )
            + "\n"
        )


def _told(whole: VerdictCounts) -> dict[str, object]:
    """The counts over all job kinds. What was due and not done is no record, so it is not counted here."""
    given = whole.given()
    return {name: given[name] for name in given if name not in ("job_kind", *_NOT_HERE)}


_NOT_HERE = ("due_and_not_done", "in_window_percent_with_not_done")
