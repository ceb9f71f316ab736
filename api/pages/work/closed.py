"""What the page of a closed job shows: what the record of its close holds, what it changed, the turn before."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from api.pages.due.page import by_words
from api.pages.shared.codes import code_words
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.work.after_close import AfterClose, TurnBefore
from scheduler.domain.base.enums import JobState, Trigger
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.due.last_done import JobId
from scheduler.domain.due.subjects import where
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.shiptime import run_text
from scheduler.wording.figures import M3H, day_count, listed, margin_number, moment, short_date
from scheduler.wording.hours import counter_line
from scheduler.wording.names import job_words

_FOUND = (
    (marked("Found"), "findings"),
    (marked("Measures"), "measures"),
    (marked("Tests"), "tests"),
    (marked("Parts used"), "parts_used"),
)


def closed_facts(record: Mapping[str, object]) -> tuple[tuple[str, str, str], ...]:
    """(what, figure, small print) from the members of the record of a close; what it has not is left out."""
    return tuple(_facts(record))


def _facts(record: Mapping[str, object]) -> Iterator[tuple[str, str, str]]:
    offset = int(str(record.get("utc_offset_minutes") or 0))
    if record.get("verdict"):
        yield _("Verdict"), code_words(str(record["verdict"])), _from_due(record)
    for what, hours_member, date_member in (
        (_("Due"), "due_running_seconds", "due_at"),
        (_("Window opened"), "window_opens_running_seconds", "window_opens_at"),
        (_("Limit"), "limit_running_seconds", "limit_at"),
        (_("Postponed to"), "postponed_to_running_seconds", "postponed_to_at"),
    ):
        hours, at = record.get(hours_member), record.get(date_member)
        said = [run_text(int(str(hours)))] if hours is not None else []
        said += [short_date(_instant(at), offset)] if at is not None else []
        if said:
            small = str(record.get("limit_from") or "") if hours_member == "limit_running_seconds" else ""
            yield (
                what,
                listed(said, "or"),
                _("first reached by {trigger}", trigger=code_words(str(record.get("trigger"))))
                if hours_member == "due_running_seconds"
                else small,
            )
    opened = record.get("opened_at")
    if opened is not None:
        yield _("Taken out"), moment(_instant(opened), offset), ""
    margin = record.get("least_margin_swept_m3_per_h")
    if margin is not None:
        yield _("Least margin while open"), f"{margin_number(float(str(margin)))} {M3H}", _("calculated, as planned")
    for what, member in ((_("Measures"), "measures"), (_("Tests"), "tests"), (_("Parts used"), "parts_used")):
        if record.get(member):
            yield what, str(record[member]), ""


@dataclass(frozen=True, slots=True)
class AfterView:
    """changed: what a close changed, a sentence each. last_time: (what, figure, small print) of the turn before, empty where none is
    known; last_href: its page, empty where it has none."""

    changed: tuple[str, ...] = ()
    last_time: tuple[tuple[str, str, str], ...] = ()
    last_href: str = ""


def after_view(after: AfterClose, now: PlantState, record: Mapping[str, object]) -> AfterView:
    """What stands around a closed job, in words. record: members of the record of its close, empty where it is another job's."""
    before = after.before
    return AfterView(
        changed=tuple(_changed(after, now, record)),
        last_time=_last_time(before, now.offset_minutes) if before else (),
        last_href=f"/vessels/{now.vessel.id}/jobs/{before.job_id.key}" if before and before.record else "",
    )


def _last_time(before: TurnBefore, offset_minutes: int) -> tuple[tuple[str, str, str], ...]:
    record = before.record
    facts = [(_("Done"), moment(before.done_at, offset_minutes), str(record.get("done_by") or ""))]
    if record.get("running_seconds") is not None:
        facts.append((_("Running hours at close"), run_text(int(str(record["running_seconds"]))), ""))
    if record.get("verdict"):
        facts.append((_("Verdict"), code_words(str(record["verdict"])), _from_due(record)))
    facts += [(_(what), str(record[name]), "") for what, name in _FOUND if record.get(name)]
    return tuple(facts)


def _changed(after: AfterClose, now: PlantState, record: Mapping[str, object]) -> Iterator[str]:
    offset, plant = now.offset_minutes, now.plant
    due = after.next_job
    if due is not None:
        yield _("Next due {day}.", day=short_date(due.due_at, offset, now.at))
        counter = counter_line(now.counter_figure(due.position), due)
        if counter:
            yield f"{counter[:1].upper()}{counter[1:]}."
    if after.done_again_at is not None:
        yield _("Done again {moment}.", moment=moment(after.done_again_at, offset, now.at))
    if after.also_done:
        yield _("Done with it: {jobs}.", jobs=listed([job_words(plant, now.at, key) for key in after.also_done]))
    for one in after.moved:  # of open turns, as the list of moved dates has them
        yield _(
            "{job}: published date moved from {was} to {to}, {by}.",
            job=job_words(plant, now.at, one.job),
            was=short_date(one.from_due_at, offset, now.at),
            to=short_date(one.to_due_at, offset, now.at),
            by=by_words(one, offset),
        )
    if record.get("parts_used"):
        yield _("Parts used: {parts}.", parts=str(record["parts_used"]))
    if after.swept_litres_per_h is not None:
        swept = f"{margin_number(after.swept_litres_per_h / 1000)} {M3H}"
        yield _("Capacity measured: {swept}, swept.", swept=swept)


def _from_due(record: Mapping[str, object]) -> str:
    seconds, days = record.get("seconds_from_due"), record.get("days_from_due")
    if seconds is not None:
        over, how_far = int(str(seconds)), run_text(int(str(seconds)))
    elif days is not None:
        over, how_far = int(str(days)), day_count(int(str(days)))
    else:
        return ""
    if over > 0:
        return _("{how_far} after the due point", how_far=how_far)
    return _("{how_far} before the due point", how_far=how_far)


def _instant(value: object) -> datetime:
    return datetime.fromisoformat(str(value))


def done_job(now: PlantState, closed: Mapping[str, object]) -> DueJob | None:
    """What the page of a closed job needs of it: its kind and place, done; none when the kind is gone."""
    kind_code, subject = str(closed["kind"]), str(closed["subject"])
    kind = next((k for k in now.plant.job_kinds if k.code == kind_code), None)
    if kind is None:
        return None
    at = datetime.fromisoformat(str(closed["closed_at"]))
    pump, position = where(now.plant, kind.subject, subject, at)
    return DueJob(
        job_id=JobId(kind=kind_code, subject=subject, sequence=int(str(closed["sequence"]))),
        kind_name=kind.name,
        pump=pump,
        position=position,
        takes_hours=kind.takes_hours,
        hands=kind.hands,
        takes_pump_out=kind.takes_pump_out,
        due_at=at,
        window_opens_at=at,
        limit_at=at,
        trigger=Trigger.CALENDAR,
        state=JobState.DONE,
        first=False,
    )
