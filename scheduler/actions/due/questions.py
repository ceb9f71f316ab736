"""The counters of a vessel with what is asked about them, and a person's answer to one question."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from scheduler.actions.base.context import Answer, Context, Hand, instant, seconds
from scheduler.actions.hours.counter_events import CounterEvent, EventShown, add_event, events_shown
from scheduler.actions.hours.ledger import changes_of, derive_vessel, setups_of_counter
from scheduler.actions.hours.questions import open_questions, questions_of
from scheduler.actions.plant_state.load import PlantState, plant_state
from scheduler.actions.vessel.document import document_of
from scheduler.actions.vessel.fleet import Place
from scheduler.domain.base.enums import Subject
from scheduler.domain.due.jobs import DueJob
from scheduler.domain.hours.ledger_values import Flag
from scheduler.domain.hours.questions import Question
from scheduler.domain.hours.running import RunningHours
from scheduler.domain.hours.sources import source_at
from scheduler.errors import Clash, Refused
from scheduler.language import gettext
from scheduler.storage.base import answer_given
from scheduler.storage.hours.counters import counter_event_rows, counter_rows
from scheduler.storage.hours.ledger import LedgerEntryRow, entry_at
from scheduler.storage.hours.readings import value_at
from scheduler.storage.shore.ships import heard_at
from scheduler.wording.hours import counts_words

MOST_MISREAD = 500


What = Literal["earlier", "replaced", "misread", "preset", "rescaled", "missing", "nothing"]


@dataclass(frozen=True, slots=True)
class CounterSheet:
    """A counter as the counters page shows it.

    newest: instant put right, thousandths of a count. counts: its hours are the position's; else it only checks them.
    unheard: its ship was not heard for so long. hours: of its position. latest: ledger entry of the newest reading. events: what
    people said of it, newest first.
    """

    id: str
    position: str
    newest: tuple[datetime, int] | None
    seconds_per_count: int
    counts: bool
    silent: bool
    unheard: bool
    hours: RunningHours | None
    latest: LedgerEntryRow | None
    flags: tuple[Flag, ...]
    questions: tuple[Question, ...]
    events: tuple[EventShown, ...]


@dataclass(frozen=True, slots=True)
class PlantSheet:
    """The counters of one plant, in the order of its positions."""

    now: PlantState
    counters: tuple[CounterSheet, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuestionAnswer:
    """An answer. at: instant of the exchange, needed for replaced alone. hours: what a preset or what is missing is worth."""

    what: What
    reason: str
    at: datetime | None = None
    old_final: float | None = None
    new_first: float | None = None
    hours: float | None = None


@dataclass(frozen=True, slots=True)
class DuePointMoved:
    """A job whose due point moved."""

    job: DueJob
    before_at: datetime
    after_at: datetime


@dataclass(frozen=True, slots=True)
class CounterChange:
    """What a counter event changed: hours of the position before and after, and due points that moved by a day or more.

    record: number of the record; repeated: it was there before. waits: nothing changed yet, and why.
    """

    counter: str
    record: int | None
    before: RunningHours | None
    after: RunningHours | None
    moved: tuple[DuePointMoved, ...]
    repeated: bool = False
    waits: str = ""


def counter_sheets(context: Context, vessel_id: str) -> tuple[PlantSheet, ...]:
    """The counters of each plant of a vessel, brought up to date first. Raises NotFound."""
    derive_vessel(context, vessel_id)
    with context.db.read() as session:
        plants = [plant.id for plant in document_of(session, vessel_id)[0].plants]
    return tuple(_plant_sheet(context, plant_state(context, vessel_id, plant)) for plant in plants)


def answer_question(context: Context, hand: Hand, place: Place, at_s: int, given: QuestionAnswer) -> CounterChange:
    """Record a person's answer to the question about `place` at `at_s`, and say what it changed.

    Raises:
        Refused: a value missing or impossible, no reason. Clash: nothing is asked there any more. NotAllowed: as for
            the counter event it becomes.
    """
    asked = next((one for one in open_questions(context, place) if one.at_s == at_s), None)
    if asked is None and not _known(context, place.vessel_id, hand):
        raise Clash(gettext("This question was answered meanwhile. Load the page again: it shows what is still asked."))
    if asked is None:  # told before: the answer of then is given, whatever the question was
        return change_counter(
            context, hand, place, [CounterEvent(kind="bad reading", at=instant(at_s), reason=given.reason)]
        )
    return change_counter(context, hand, place, _events(given, at_s, asked))


def change_counter(context: Context, hand: Hand, place: Place, events: Sequence[CounterEvent]) -> CounterChange:
    """Record counter events of one hand action, each once, and say what they changed."""

    def act() -> Answer:
        for number, event in enumerate(events):
            one = hand if number == 0 else Hand(hand.actor, f"{hand.key}:{number}", hand.asked)
            answer = add_event(context, one, place, event)
        return answer

    return watched(context, hand, place, act)


def watched(context: Context, hand: Hand, place: Place, act: Callable[[], Answer]) -> CounterChange:
    """Do what changes a counter, and say what it changed: hours and due points before and after."""
    repeated = _known(context, place.vessel_id, hand)
    before = plant_state(context, place.vessel_id, place.plant_id)
    given = act().body
    record = given.get("record")
    after = plant_state(context, place.vessel_id, place.plant_id)
    position = next((c.position for c in after.counters if c.id == place.id), "")
    due = {job.job_id.key: job.due_at for job in before.jobs if job.first}
    moved = tuple(
        DuePointMoved(job, due[job.job_id.key], job.due_at)
        for job in after.jobs
        if job.first and job.job_id.key in due and abs((job.due_at - due[job.job_id.key]).days) >= 1
    )
    key = Subject.POSITION, position
    return CounterChange(
        counter=place.id,
        record=record if isinstance(record, int) else None,
        before=before.hours.get(key),
        after=after.hours.get(key),
        moved=moved,
        repeated=repeated,
        waits=str(given.get("says", "")),
    )


def _events(given: QuestionAnswer, at_s: int, asked: Question) -> list[CounterEvent]:
    """The counter events that an answer stands for."""
    at, reason = instant(at_s), given.reason
    match given.what:
        case "replaced":
            if given.at is None:
                says = gettext("when it was exchanged is missing.")
                raise Refused(f"at: {says}", faults=[("/at", says)])
            made = CounterEvent(
                kind="replacement", at=given.at, reason=reason, old_final=given.old_final, new_first=given.new_first
            )
            return [made]
        case "rescaled":
            if asked.scale is None:
                raise Refused(gettext("No other scale would fit any more. Load the page again."))
            made = CounterEvent(
                kind="rescale",
                at=at,
                reason=reason,
                old_final=given.old_final,
                new_first=given.new_first,
                seconds_per_count=asked.scale,
                resolution=1.0,
            )
            return [made]
        case "earlier":
            if asked.earlier is None:
                raise Refused(gettext("No reading before explains these any more. Load the page again."))
            return [CounterEvent(kind="bad reading", at=instant(asked.earlier[0]), reason=reason)]
        case "misread" | "preset" if asked.earlier is not None and len(asked.readings) > 1:
            raise Refused(
                gettext(
                    "These {count} readings all follow from what was counted before, once {counts} is left out: "
                    "mark that one as misread, or record a replacement.",
                    count=len(asked.readings),
                    counts=counts_words(asked.earlier[1]),
                )
            )
        case "misread":
            held = [reading.at_s for reading in asked.readings]
            if len(held) > MOST_MISREAD:
                raise Refused(
                    gettext(
                        "{count} readings cannot all be misread; at most {most} are marked at once. If the "
                        "counter goes on from a new value, it was replaced or preset.",
                        count=len(held),
                        most=MOST_MISREAD,
                    )
                )
            return [CounterEvent(kind="bad reading", at=instant(one), reason=reason) for one in held]
        case "preset":
            return [CounterEvent(kind="step decision", at=at, reason=reason, hours=given.hours)]
        case "missing":
            return [CounterEvent(kind="adjustment", at=at, reason=reason, hours=given.hours)]
        case "nothing":
            return [CounterEvent(kind="nothing missing", at=at, reason=reason)]


def _known(context: Context, vessel_id: str, hand: Hand) -> bool:
    with context.db.read() as session:
        return answer_given(session, vessel_id, hand.key or "", hand.actor.id) is not None


def _plant_sheet(context: Context, now: PlantState) -> PlantSheet:
    order = [position.id for position in now.plant.positions]
    states = {counter.id: counter for counter in now.counters}
    sheets = []
    with context.db.read() as session:
        rows = [row for row in counter_rows(session, now.vessel.id) if row.id in states]
        changes, heard = changes_of(session, now.vessel.id, rows), heard_at(session, now.vessel.id)
        for row in sorted(rows, key=lambda one: (order.index(one.position_id), one.id)):
            assert row.no is not None
            flags = tuple(flag for counter, flag in now.flags if counter == row.id)
            newest_s = row.newest_s
            shown = None if newest_s is None else value_at(session, row.no, newest_s, row.skew_most_s)
            counting = source_at(now.plant, row.position_id, seconds(now.at), changes.get(row.position_id, ()))
            sheets.append(
                CounterSheet(
                    id=row.id,
                    position=row.position_id,
                    newest=None if newest_s is None or shown is None else (instant(newest_s), shown),
                    seconds_per_count=setups_of_counter(session, row)[-1][1].seconds_per_count,
                    counts=counting == row.id,
                    silent=states[row.id].silent_when(heard),
                    unheard=states[row.id].silent and not states[row.id].silent_when(heard),
                    hours=now.hours.get((Subject.POSITION, row.position_id)),
                    latest=None if newest_s is None else entry_at(session, row.no, newest_s),
                    flags=flags,
                    questions=questions_of(session, row, flags),
                    events=tuple(events_shown(counter_event_rows(session, row.no))[::-1]),
                )
            )
    return PlantSheet(now, tuple(sheets))
