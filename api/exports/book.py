"""The history as a workbook (XLSX) for the office: a first sheet that reads as page 1 of the paper, then a sheet a question.

Written row by row in constant memory. No text becomes a formula, a link or a number by itself. Same arguments, same bytes.
"""

import tempfile
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

from api.exports.book_columns import CHANGES, JOBS, NONCONFORMITIES, NOT_DONE, POSTPONEMENTS, RECORDS, TESTS, WORDS
from api.exports.book_sheet import BookSheet, Cell, Column, SheetFormats, lines_across, plain_text, write_sheet
from api.exports.first_page import FirstPage, Papers, first_page
from api.exports.payload import payload_of
from api.exports.record_text import RecordTexts
from scheduler.actions.record.period import PumpPeriod
from scheduler.domain.record.chain import Record
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.record.period import NOT_CHECKED, PeriodEntry, month_hours
from scheduler.shiptime import minutes_at, ship_time
from scheduler.wording import papers
from scheduler.wording.figures import offset_words
from scheduler.wording.names import pump_words
from scheduler.wording.record import record_kind_words, record_person

_HOUR = 3600
_ACROSS = 8
"""Columns of the first sheet beside the first."""
_FIRST, _EACH = 24.0, 10.5
"""Their widths."""


def xlsx(records: Iterable[Record], given: Papers) -> Iterator[bytes]:
    """The workbook in pieces.

    Args:
        records: by number, gone through once more, for the sheet of all records.
    """
    import xlsxwriter

    page, at, texts = first_page(given), _Clock(given), RecordTexts(given.period)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "history.xlsx"
        book = xlsxwriter.Workbook(
            str(path),
            {
                "constant_memory": True,
                "tmpdir": folder,
                "strings_to_formulas": False,
                "strings_to_urls": False,
                "strings_to_numbers": False,
            },
        )
        title = plain_text(f"{page.vessel}: compliance history, {page.period}")[:250]
        author = plain_text(given.frame.made_by)[:250]
        created = given.frame.as_of.replace(tzinfo=None)
        book.set_properties({"title": title, "author": author, "created": created})
        formats = SheetFormats(book)
        _answer(book, formats, page)
        for sheet, rows in (
            (JOBS, (_job(given, at, one) for one in given.facts.closed)),
            (NOT_DONE, (_missed(at, one) for one in given.missed)),
            (_hours_sheet(given), _hours(given)),
            (TESTS, (_test(given, at, one) for one in given.facts.tests)),
            (POSTPONEMENTS, (_postponement(given, at, one) for one in given.extras.postponements)),
            (NONCONFORMITIES, (_nonconformity(given, at, one) for one in given.extras.non_conformities)),
            (CHANGES, (_change(at, one) for one in given.extras.changes)),
            (RECORDS, (_record(at, texts, one) for one in records)),
            (WORDS, papers.DEFINITIONS),
        ):
            write_sheet(book, formats, sheet, rows, left=page.vessel, period=page.period, footer=page.made)
        book.close()
        with path.open("rb") as file:
            while piece := file.read(65_536):
                yield piece


class _Clock:
    """Instants as cells: ship time by the clock of the day, and the offset beside it."""

    def __init__(self, given: Papers) -> None:
        self._offset = given.period.offset

    def time(self, at: datetime | str | None, minutes: float | None = None) -> datetime | None:
        """Ship time, to the minute and without a zone, as a cell holds it."""
        if at is None or at == "":
            return None
        at = datetime.fromisoformat(at) if isinstance(at, str) else at
        there = ship_time(at, self._offset if minutes is None else int(minutes))
        return there.replace(tzinfo=None, microsecond=0)

    def day(self, at: datetime | str | None, minutes: float | None = None) -> date | None:
        """The ship's date."""
        there = self.time(at, minutes)
        return None if there is None else there.date()

    def offset(self, at: datetime, minutes: float | None = None) -> str:
        """The offset of an instant, in words."""
        return offset_words(minutes_at(self._offset, at) if minutes is None else int(minutes))


def _answer(book: Any, formats: SheetFormats, page: FirstPage) -> None:
    there = book.add_worksheet("Answer")
    there.hide_gridlines(2)
    there.set_paper(9)
    there.fit_to_pages(1, 1)
    there.set_margins(0.8, 0.5, 0.6, 0.6)
    there.set_column(0, 0, _FIRST, formats.plain)
    there.set_column(1, _ACROSS, _EACH, formats.plain)
    row = 0

    def line(text: str, shape: Any, height: float | None = None) -> None:
        nonlocal row
        text = plain_text(text)
        there.set_row(row, height or 13.2 * lines_across(text, _FIRST + _ACROSS * _EACH) + 1)
        there.merge_range(row, 0, row, _ACROSS, "", shape)
        there.write_string(row, 0, text, shape)
        row += 1

    line(page.vessel, formats.title, 26)
    line(f"Compliance history, {page.period}" + (f". IMO {page.imo}" if page.imo else ""), formats.bold)
    for plant in page.plants:
        line(plant, formats.plain_wrap)
    line(f"{page.note} The offset stands in a column of its own.", formats.soft)
    row += 1
    line(page.answer, formats.answer, 18.0 * max(1, -(-len(page.answer) // 80)) + 4)
    line(page.more, formats.plain_wrap)
    row += 1
    heads = ("", "fell due", *papers.PARTS, "in window, of fell due")
    there.set_row(row, 42)
    for place, head in enumerate(heads):
        there.write_string(row, place, head, formats.head_right if place else formats.head)
    for one in (*page.kinds, page.total):
        row += 1
        name = "All together" if one is page.total else plain_text(one.name)
        there.write_string(row, 0, name, formats.bold if one is page.total else formats.plain)
        figures = [one.due, *(one.counts.get(part, 0) for part in papers.PARTS)]
        for place, figure in enumerate(figures, 1):
            there.write_number(row, place, figure, formats.by_look["count"])
        if one.due:
            share = one.counts.get(Verdict.IN_WINDOW.value, 0) / one.due
            there.write_number(row, len(heads) - 1, share, formats.by_look["share"])
    row += 1
    signed = f"Months reviewed: {page.signed} of {len(page.months)} signed by the chief engineer"
    unsigned = [papers.month_words(month) for month, by, _ in page.months if not by]
    for head, lines in (
        ("Missing or estimated", (page.complete, *page.missing)),
        (f"Non-conformities: {page.nonconformities_open} open, {page.nonconformities_closed} closed", ()),
        (signed, (f"Not signed: {', '.join(unsigned)}.",) if unsigned else ()),
        (
            f"Record stamp, after record {page.record}",
            (" ".join(papers.stamp_groups(page.stamp)), papers.check_words(page.record, "workbook")),
        ),
        (
            "Sheets",
            (
                "A sheet a question; each has a filter. What is not printed stands at the right; job and record numbers and "
                "stamps are folded away there: press + above them.",
            ),
        ),
    ):
        row += 1
        line(head, formats.part)
        for text in lines:
            line(text, formats.plain_wrap)
    there.set_footer(f"&L&8{plain_text(page.made)[:90].replace('&', '&&')}&R&8page &P of &N")


def _job(given: Papers, at: _Clock, one: PeriodEntry) -> tuple[Cell, ...]:
    minutes = one.figure("utc_offset_minutes")
    due, limit = one.figure("due_running_seconds"), one.figure("limit_running_seconds")
    running = one.figure("running_seconds")
    remarks = [one.text("reason"), "hours estimated" if one.text("hours_source") == "estimated" else ""]
    remarks.append("from paper" if one.members.get("from_paper") else "")
    postponed = one.instant("postponed_to_at")
    remarks.append(f"put off to {papers.day_at(postponed, given.period.offset)}" if postponed else "")
    permit = one.text("permit_no")
    remarks.append(f"permit {permit}" if permit else "")
    hours, days = one.hours_from_due, one.figure("days_from_due")
    return (
        at.time(one.at, minutes),
        at.offset(one.at, minutes),
        one.text("position"),
        one.text("job_kind"),
        None if running is None else running // _HOUR,
        None if due is None else due // _HOUR,
        None if hours is None else int(hours),
        None if days is None else int(days),
        "breakdown repair" if one.verdict is Verdict.BREAKDOWN else one.verdict.value,
        papers.found_words(one.text("findings")),
        papers.found_words(one.text("measures")),
        "" if one.text("test") == "none" else one.text("test"),
        one.text("done_by"),
        given.facts.checked_by(one) or one.sheet_check or NOT_CHECKED,
        "; ".join(filter(None, remarks)),
        at.day(one.instant("due_at"), minutes),
        one.text("pump_serial"),
        None if limit is None else limit // _HOUR,
        at.day(one.instant("limit_at"), minutes),
        one.figure("least_margin_swept_m3_per_h"),
        one.figure("lowest_vacuum_kpa"),
        len(given.facts.photos.get(one.text("job_no"), ())) or None,
        one.text("job_no"),
        one.number,
        one.stamp,
    )


def _missed(at: _Clock, one: Any) -> tuple[Cell, ...]:
    state = "not known when last done" if one.due_at is None else one.state
    return (at.day(one.due_at), one.position, one.kind, at.day(one.limit_at), state, at.time(one.done_at), one.job)


def _all_pumps(given: Papers) -> list[tuple[str, PumpPeriod]]:
    return [
        (pump_words(plant.plant, given.frame.as_of, pump.pump.id), pump)
        for plant in given.period.plants
        for pump in plant.pumps
    ]


def _hours_sheet(given: Papers) -> BookSheet:
    pumps = [Column(f"{name}, h", max(10.0, min(24.0, len(name) + 2.0)), "whole") for name, _ in _all_pumps(given)]
    last = (
        Column("All, h", 10, "whole"),
        Column("Of it laid over a gap, h", 11, "whole"),
        Column("Days not known", 10, "whole"),
    )
    return BookSheet(name="Hours", title="Running hours a month", columns=(Column("Month", 11, "month"), *pumps, *last))


def _hours(given: Papers) -> Iterator[tuple[Cell, ...]]:
    pumps = [pump for _, pump in _all_pumps(given)]
    ran = [month_hours(pump.days) for pump in pumps]
    laid = [month_hours([day for day in pump.days if day.interpolated]) for pump in pumps]
    for month in sorted({month for one in ran for month in one}):
        hours = [one.get(month, 0.0) for one in ran]
        unknown = sum(day.seconds is None and f"{day.on:%Y-%m}" == month for pump in pumps for day in pump.days)
        year, number = map(int, month.split("-"))
        gap = sum(one.get(month, 0.0) for one in laid)
        yield (date(year, number, 1), *(round(one, 1) for one in hours), round(sum(hours), 1), round(gap, 1), unknown)


def _test(given: Papers, at: _Clock, one: PeriodEntry) -> tuple[Cell, ...]:
    swept, rated = one.figure("swept_m3_per_h"), one.figure("rated_swept_m3_per_h")
    names = {pump.pump.id: name for name, pump in _all_pumps(given)}
    return (
        at.time(one.at),
        at.offset(one.at),
        names.get(one.text("pump"), one.text("serial")),
        one.text("test"),
        swept,
        swept / rated if swept is not None and rated else None,
        one.figure("leak_free_m3_per_h"),
        one.figure("from_vacuum_kpa"),
        one.figure("to_vacuum_kpa"),
        one.text("reason"),
        one.text("done_by"),
        one.text("serial"),
        one.number,
        one.stamp,
    )


def _postponement(given: Papers, at: _Clock, one: Mapping[str, Any]) -> tuple[Cell, ...]:
    asked_at = datetime.fromisoformat(str(one["asked_at"]))
    note = [str(one["note"] or ""), f"class: {one['class_agreed']}" if one["class_agreed"] else ""]
    return (
        int(one["postponement"]),
        str(one["state"]),
        given.job_name(str(one["job"]), asked_at),
        at.day(one["limit_at"]),
        at.day(one["to_at"]),
        str(one["reason"] or ""),
        str(one["risk"] or ""),
        str(one["mitigation"] or ""),
        str(one["asked_by"] or ""),
        at.time(asked_at),
        str(one["decided_by"] or ""),
        at.time(one["decided_at"]),
        "; ".join(filter(None, note)),
        str(one["job"]),
    )


def _nonconformity(given: Papers, at: _Clock, one: Mapping[str, Any]) -> tuple[Cell, ...]:
    opened = datetime.fromisoformat(str(one["opened_at"]))
    return (
        int(one["non_conformity"]),
        str(one["state"]),
        at.time(opened),
        at.time(one["closed_at"]),
        given.job_name(str(one["job"]), opened),
        str(one["about"] or ""),
        str(one["what"] or ""),
        at.day(one["limit_at"]),
        str(one["cause"] or ""),
        str(one["corrective_action"] or ""),
        str(one["answered_by"] or ""),
        str(one["closed_by"] or ""),
        str(one["job"]),
    )


def _change(at: _Clock, one: Any) -> tuple[Cell, ...]:
    return (at.time(one.recorded), one.what, one.reason, one.by, one.class_agreed, one.approved, one.number)


def _record(at: _Clock, texts: RecordTexts, record: Record) -> tuple[Cell, ...]:
    members = payload_of(record)
    return (
        record.number,
        at.time(record.recorded_at),
        at.offset(record.recorded_at),
        record_kind_words(record.kind, members),
        texts.pump(record, members),
        texts.said(record, members),
        record_person(members),
        record.text,
        record.previous_hash,
        record.hash,
    )
