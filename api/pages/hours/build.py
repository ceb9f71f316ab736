"""From the counters as they stand to the counters page: who sees what, in which words."""

import secrets
from collections.abc import Sequence

from api.pages.hours.asking import Back, instant_words, question_view
from api.pages.hours.events import event_lines
from api.pages.hours.view import AirBlock, AskField, AskForm, CountersView, CounterView, DiagnosisLine, LogLine
from api.pages.shared.frame import frame_of, may, may_ask
from api.pages.shared.job_line import as_job_line
from api.server.deps import Asking
from scheduler.actions.base.context import instant
from scheduler.actions.due.questions import CounterChange, CounterSheet, PlantSheet
from scheduler.actions.plant_state.load import PlantState
from scheduler.domain.checks.diagnosis import ASKED, Diagnosis
from scheduler.domain.hours.ledger import Code
from scheduler.domain.hours.questions import MISSING
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.shore.line_state import LineStatus
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.storage.hours.readings import IntakeLogRow
from scheduler.wording.care import diagnosis_words
from scheduler.wording.figures import NBSP, count_words, listed, moment, number, offset_words, short_date
from scheduler.wording.hours import counts_words, flag_words, unit_name
from scheduler.wording.shore import office_lines

NOTES = 4
_FRESH_S = 30 * 86_400
_STANDING = (Code.SILENT, Code.STANDING, Code.SOURCES, Code.CONFLICT)
_ASKED = (Code.HELD, *MISSING)
"""Flags whose words stand with their question."""

VERDICTS = {
    "credited": marked("counted"),
    "baseline": marked("first reading, counted from here"),
    "jitter": marked("a step back of one, not counted"),
    "rollover": marked("rolled over, counted"),
    "reset": marked("started again, counted from 0"),
    "glitch": marked("false, not used"),
    "spike": marked("false, not used"),
    "held": marked("held, not counted"),
    "replacement": marked("counter exchanged"),
    "rescale": marked("set to another scale"),
    "adjustment": marked("hours added by hand"),
    "opening": marked("opening balance"),
}
"""What the ledger made of a reading, in words."""


def counters_view(
    sheets: Sequence[PlantSheet],
    log: Sequence[IntakeLogRow],
    diagnoses: Sequence[Diagnosis],
    who: Asking,
    *,
    back: Back,
    changed: CounterChange | None = None,
    says: str = "",
    forget: str = "",
    air: tuple[AirBlock, ...] = (),
    office: LineStatus | None = None,
) -> CountersView:
    """The page's view. back: an answer that was refused; changed: what one that was taken changed."""
    first = sheets[0].now
    vessel_id = first.vessel.id
    here = f"/vessels/{vessel_id}/counters"
    answers = may(who, "POST", "/counters/{counter_id}/answers")
    plants = tuple(
        (
            sheet.now.plant.name if len(sheets) > 1 else "",
            tuple(_counter(sheet, one, who, answers, back) for one in sheet.counters),
        )
        for sheet in sheets
    )
    shown = [form for _, counters in plants for one in counters for form in _forms(one)]
    if back.asked and not any(form.refused for form in shown):
        says = "; ".join(f"{name}: {fault}" for name, fault in back.faults.items()) or back.says
    return CountersView(
        frame=frame_of(first, who, here, _("Counters"), "counters"),
        answer=_answer(sheets),
        sub=_(
            "Ship time, {offset_words}. Hours are those of the position; held readings are not in them.",
            offset_words=offset_words(first.offset_minutes),
        ),
        plants=plants,
        diagnoses=tuple(_look_line(one, first) for one in diagnoses if one.about not in ASKED),
        log=tuple(_log_line(row, first) for row in log),
        hours_href=f"/vessels/{vessel_id}/hours" if may(who, "POST", "/vessels/{vessel_id}/hours") else "",
        changed=() if changed is None else _changed(sheets, changed),
        says=says,
        forget=forget,
        air=air,
        office=() if office is None else office_lines(office, first.offset_minutes),
    )


def _forms(one: CounterView) -> list[AskForm]:
    found = [form for question in one.questions for form in question.forms]
    found += [form for event in one.events for form in event.forms]
    return found if one.correct is None else [*found, one.correct]


def _answer(sheets: Sequence[PlantSheet]) -> str:
    """The heading: what is asked, else what is silent, else that all is counted."""
    counters = [(sheet.now, one) for sheet in sheets for one in sheet.counters]
    asked = [(now.position_name(one.position), len(one.questions)) for now, one in counters if one.questions]
    if asked:
        many = sum(number for _, number in asked)
        return _(
            "{counted} for an answer, on {names}.",
            counted=count_words(many, "question waits", "questions wait"),
            names=listed([name for name, _ in asked]),
        )
    waiting = sum(event.state == "asked" for _, one in counters for event in one.events)
    if waiting:
        return _(
            "{counted} for another person's word.", counted=count_words(waiting, "correction waits", "corrections wait")
        )
    if any(one.unheard for _, one in counters):
        return _("Nothing is asked, as far as the ship was heard.")
    silent = [now.position_name(one.position) for now, one in counters if one.silent]
    if silent and len(silent) == len(counters):
        return _("No counter is posting; due dates rest on the calendar and on estimates.")
    if silent:
        return ngettext(
            "Nothing is asked. {names} is silent; those hours are estimated.",
            "Nothing is asked. {names} are silent; those hours are estimated.",
            len(silent),
        ).format(names=listed(silent))
    return _("Nothing is asked: every counter posts and is counted.") if counters else _("No counter is set up.")


def _counter(sheet: PlantSheet, one: CounterSheet, who: Asking, answers: bool, back: Back) -> CounterView:
    now = sheet.now
    position = now.position_name(one.position)
    asked_at = {question.at_s for question in one.questions}
    flags = [flag for flag in one.flags if flag.at_s not in asked_at or flag.code not in _ASKED]
    fresh = [flag for flag in flags if flag.code in _STANDING or now.at.timestamp() - flag.at_s < _FRESH_S]
    asked = tuple(
        question_view(question, one.id, position, now.offset_minutes, may=answers, back=back)
        for question in one.questions
    )
    return CounterView(
        id=one.id,
        position=position,
        facts=_facts(now, one),
        notes=tuple(
            (short_date(instant(flag.at_s), now.offset_minutes), flag_words(flag, position, now.offset_minutes))
            for flag in fresh[:NOTES]
        ),
        older_notes=len(flags) - len(fresh[:NOTES]),
        questions=asked,
        events=event_lines(one.events, one.id, now.offset_minutes, who.actor, back, may=answers, asks=may_ask(who)),
        correct=_correct(one, now, back) if answers else None,
    )


def _facts(now: PlantState, one: CounterSheet) -> tuple[tuple[str, str, str], ...]:
    offset = now.offset_minutes
    newest_at = None if one.newest is None else one.newest[0]
    value = _("nothing yet") if one.newest is None else counts_words(one.newest[1])
    unit = unit_words(one.seconds_per_count)
    shown = (
        _("read {instant_words}", instant_words=instant_words(newest_at, now.at, offset))
        if newest_at
        else _("never posted")
    )
    shown = ", ".join(one_of for one_of in (unit, shown, _("silent") if one.silent else "") if one_of)
    verdict = "–" if one.latest is None else _(VERDICTS.get(one.latest.verdict, one.latest.verdict))
    reason = "" if one.latest is None else one.latest.reason
    hours = one.hours
    as_of = None if hours is None else hours.as_of
    return (
        (_("Shows"), value, shown),
        (
            _("Running hours"),
            hours_words(hours),
            _why_estimated(one) if one.counts else _("of another counter; this one only checks"),
        ),
        (_("Hours as of"), instant_words(as_of, now.at, offset), ""),
        (_("Latest reading"), verdict, reason),
    )


def unit_words(seconds_per_count: int) -> str:
    """What a counter counts; empty when it counts hours."""
    return "" if seconds_per_count == 3600 else unit_name(seconds_per_count)


def hours_words(hours: RunningHours | None) -> str:
    """Running hours to a tenth; "about" while estimated."""
    if hours is None:
        return _("none")
    said = f"{number(hours.hours, 1)}{NBSP}h"
    return _("about {said}", said=said) if hours.estimated else said


def _why_estimated(one: CounterSheet) -> str:
    if one.hours is None or not one.hours.estimated:
        return _("a question is open") if one.questions else ""
    if one.unheard:
        return _("estimated: the ship was not heard since")
    if one.silent:
        return _("estimated: the counter is silent")
    return _("estimated: a question is open") if one.questions else _("estimated: pro-rated")


def _correct(one: CounterSheet, now: PlantState, back: Back) -> AskForm:
    """Hours added or taken away without any question."""
    fid = f"c-{one.id}"
    mine = back.asked == fid
    typed, faults = (back.values, back.faults) if mine else ({}, {})
    said = {"hours": "", "reason": "", **typed}
    fields = (
        AskField(
            name="hours",
            label=_("Hours to add"),
            value=said["hours"],
            hint=_("With a minus to take away: another person, chief engineer or office, then confirms it"),
            attrs={"autocomplete": "off"},
            fault=faults.get("hours", ""),
        ),
        AskField(
            name="reason",
            label=_("Reason"),
            value=said["reason"],
            hint=_("It stays in the record"),
            attrs={"autocomplete": "off"},
            fault=faults.get("reason", ""),
        ),
    )
    return AskForm(
        id=fid,
        label=_("Correct the hours"),
        help=_("An adjustment as of now, an entry of its own; undone by the opposite one."),
        action=f"/counters/{one.id}/answers",
        button=_("Record the adjustment"),
        hidden={
            "what": "adjust",
            "idempotency_key": secrets.token_hex(16),
            "utc_offset_minutes": str(now.offset_minutes),
        },
        fields=fields,
        says=back.says if mine else "",
        open=mine,
    )


def _look_line(one: Diagnosis, now: PlantState) -> DiagnosisLine:
    since = "" if one.since_at is None else moment(one.since_at, now.offset_minutes)
    says, do = diagnosis_words(one)
    return DiagnosisLine(which=one.name, since=since, says=says, do=do)


def _log_line(row: IntakeLogRow, now: PlantState) -> LogLine:
    return LogLine(
        came=moment(instant(row.received_s), now.offset_minutes),
        counter=row.counter_ref,
        status=str(row.status),
        why=row.why,
        item=row.item,
    )


def _changed(sheets: Sequence[PlantSheet], changed: CounterChange) -> tuple[str, ...]:
    """What an answer changed: the record, hours before and after, due points."""
    for sheet in sheets:
        one = next((c for c in sheet.counters if c.id == changed.counter), None)
        if one is None:
            continue
        now, position = sheet.now, sheet.now.position_name(one.position)
        record = _("Recorded") if changed.record is None else _("Recorded as record {record}", record=changed.record)
        again = _("It was recorded before; nothing was done twice")
        said = [f"{again if changed.repeated else record}."]
        if changed.waits:
            return (*said, changed.waits)
        before, after = hours_words(changed.before), hours_words(changed.after)
        if before == after:
            said.append(_("{position} stays at {after}.", position=position, after=after))
        else:
            said.append(
                _("{position} had {before}, it now has {after}.", position=position, before=before, after=after)
            )
        for moved in changed.moved:
            job = as_job_line(now, moved.job)
            name = f"{job.position} {job.kind_name.lower()}" if job.position else job.kind_name
            old, new = (short_date(at, now.offset_minutes) for at in (moved.before_at, moved.after_at))
            said.append(_("{name} falls due {new}, before {old}.", name=name, new=new, old=old))
        if not changed.moved:
            said.append(_("No due date moved by a day."))
        left = len(one.questions)
        if left:
            said.append(
                _(
                    "{counted} still open on {position}.",
                    counted=count_words(left, "question is", "questions are"),
                    position=position,
                )
            )
        return tuple(said)
    return ()
