"""What an export's first page and its further tables say, as plain rows; workbook and paper both show them."""

from collections.abc import Iterator, Sequence

from api.exports.frame import ExportFrame, Summary
from api.exports.judged import WORDS, judged, sentence
from scheduler.actions.record.history import ExportExtras
from scheduler.domain.base.canonical import instant_text

DEFINITIONS: tuple[tuple[str, str], ...] = (
    (
        "due",
        "the original due point, by running hours or calendar, whichever came first; a postponement never moves it",
    ),
    ("window", "from when the job may be done in time"),
    ("limit", "due point plus the tolerance of the job kind; a granted postponement gives a later one"),
    ("early", "done before the window opened"),
    ("in window", "done from the opening of the window to the due point"),
    ("past due within limit", "done after the due point, not after the original limit"),
    ("postponed", "done after the original limit, within a limit that was granted"),
    ("late", "done after every limit that was given"),
    ("breakdown", "a repair that was not planned; it has no due point and is judged by none"),
    ("not judged", "nobody knew when the job was last done and no first date was set: it has no due point"),
    *WORDS,
    (
        "running hours from",
        "counter: read at that time; estimated: between two readings or projected; by hand: as told",
    ),
    ("margin", "capacity available minus minimum capacity, swept m3/h at the stop setpoint; calculated, not measured"),
    ("record stamp", "the chain hash of a record: SHA-256 over the stamp before it and its own text"),
)


def frame_rows(frame: ExportFrame, found: Summary, extras: ExportExtras) -> list[tuple[str, str]]:
    """What the export is, line by line."""
    period = (
        f"recorded {'from ' + instant_text(frame.from_at) if frame.from_at else 'from the beginning'} "
        f"{'to ' + instant_text(frame.to_at) if frame.to_at else 'to the end'}"
    )
    return [
        ("Vessel", frame.vessel),
        ("Period", period),
        ("Choice", frame.filter or "everything recorded in that period"),
        ("Made by", frame.made_by),
        ("As of", instant_text(frame.as_of)),
        ("Program", f"Leadline {frame.version}"),
        ("Record stamp of the last record", found.head),
        ("Completeness", found.completeness),
        ("Done in window", sentence(judged(found, extras.not_done)[0])),
        *((f"Closed jobs {verdict}", str(count)) for verdict, count in found.by_verdict.items()),
        *((f"Records: {kind}", str(count)) for kind, count in found.by_kind.items()),
        (
            "Proof",
            "The JSON Lines export of the same period can be checked offline with `leadline verify`; this form cannot.",
        ),
    ]


def extra_tables(extras: ExportExtras) -> Iterator[tuple[str, Sequence[str], list[tuple[str, ...]]]]:
    """(name, headings, rows) of each further table, empty ones too: an empty table is an answer."""
    yield (
        "Not done",
        ("job", "position", "job kind", "due (UTC)", "limit (UTC)", "state", "done (UTC)"),
        [
            (
                one.job,
                one.position,
                one.kind,
                "" if one.due_at is None else instant_text(one.due_at),
                "" if one.limit_at is None else instant_text(one.limit_at),
                one.state,
                "" if one.done_at is None else instant_text(one.done_at),
            )
            for one in extras.not_done
        ],
    )
    postponed = (
        "postponement", "job", "state", "limit_at", "to_at", "reason", "risk", "mitigation", "asked_by", "asked_at",
        "decided_by", "decided_at", "note", "class_agreed",
    )  # fmt: skip
    yield "Postponements", tuple(map(_words, postponed)), [_cells(one, postponed) for one in extras.postponements]
    opened = (
        "non_conformity", "job", "about", "what", "state", "limit_at", "opened_at", "cause", "corrective_action", "answered_by",
        "closed_by", "closed_at",
    )  # fmt: skip
    yield "Non-conformities", tuple(map(_words, opened)), [_cells(one, opened) for one in extras.non_conformities]
    yield (
        "Changes",
        ("record no.", "recorded (UTC)", "by", "what changed", "why", "class agreed", "approved ashore"),
        [
            (str(one.number), one.recorded, one.by, one.what, one.reason, one.class_agreed, one.approved)
            for one in extras.changes
        ],
    )


def _words(name: str) -> str:
    return name.removesuffix("_at").replace("_", " ") + (" (UTC)" if name.endswith("_at") else "")


def _cells(row: dict[str, object], names: Sequence[str]) -> tuple[str, ...]:
    return tuple("" if row[name] is None else str(row[name]) for name in names)
