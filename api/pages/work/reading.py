"""A box of a job's page read back: the entries that its one tap stands for, and the close where it is the last."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from api.pages.work.box import PHASES
from api.routes.shared.fields import Fields
from scheduler.actions.work.closing_checks import Close
from scheduler.domain.base.enums import Test
from scheduler.domain.people.persons import same_name
from scheduler.domain.vessel.document import Plant
from scheduler.domain.vessel.job_kinds import JobKind
from scheduler.domain.vessel.sheets import MeasureAsked
from scheduler.domain.work import acts
from scheduler.domain.work.acts import AnyStep, GasPlace, Note, Noted
from scheduler.domain.work.course import WorkAct
from scheduler.domain.work.numbering import LOCK_BOX
from scheduler.domain.work.state import WorkState, same
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.parsing import Expected, Unreadable, read_instant, read_time
from scheduler.shiptime import instant_of, ship_time

NEEDED = marked("this is empty and asked for")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBox:
    """What is known when a box is read. fields: as typed. do: which button. at, by: when, and whose act it is."""

    fields: Fields
    act: WorkAct
    name: str
    do: str
    at: datetime
    by: str
    work: WorkState
    plant: Plant
    kind: JobKind
    offset_minutes: int
    permit_asked: bool

    def needed(self, name: str) -> str:
        """The text of a field that is not to be empty."""
        text = self.fields.text(name)
        if not text:
            self.fields.fault(name, _(NEEDED))
        return text


Found = tuple[list[AnyStep], Close | None]


def read_box(box: ReadBox) -> Found:
    """The entries in their order, and the close or none.

    Raises:
        Refused: with a fault for each field that cannot be read or is asked for.
    """
    steps, closing = _READERS[box.act](box)
    box.fields.check(_("Some fields cannot be read, or are empty."))
    return steps, closing


def act_named(text: str) -> WorkAct:
    """The act of a box. Raises Refused for what is none."""
    try:
        return WorkAct(text)
    except ValueError as error:
        raise Refused(
            _("{text} is no act of the work. Go back to the job's page.").format(text=f"{text[:40]!r}")
        ) from error


def measures_from(fields: Fields, kind: JobKind, at: datetime, by: str) -> list[AnyStep]:
    """The figures typed in, of the measures the sheet asks for."""
    return [
        _measure(asked, value, at, by)
        for asked in kind.measures
        if (value := fields.figure(f"measure:{asked.name}")) is not None
    ]


def current_from(currents: Sequence[float], kind: JobKind, at: datetime, by: str, why: str = "") -> list[AnyStep]:
    """The highest of the phases, A, as the measure that is looked at against the nameplate, where the sheet asks for one."""
    plated = next((one for one in kind.measures if one.nameplate), None)
    return [] if plated is None or not currents else [_measure(plated, max(currents), at, by, why)]


def _measure(asked: MeasureAsked, value: float, at: datetime, by: str, text: str = "") -> Noted:
    return Noted(
        at=at,
        by=by,
        about=Note.MEASURE,
        name=asked.name,
        value=value,
        unit=asked.unit,
        low=asked.low,
        high=asked.high,
        text=text,
    )


def _ready(box: ReadBox) -> Found:
    steps: list[AnyStep] = []
    if box.permit_asked:
        steps.append(
            acts.PermitIssued(
                at=box.at,
                by=box.by,
                number=box.needed("number"),
                issued_by=box.fields.text("issued_by"),
                valid_to=_until(box),
            )
        )
    if box.work.ready is None or not box.work.ready.standby_seen:
        steps.append(acts.MadeReady(at=box.at, by=box.by, standby_seen=True, told=box.needed("told")))
    return steps, None


def _until(box: ReadBox) -> datetime | None:
    """A time of day is the next one after the act; a date and time is taken as it is."""
    text = box.needed("valid_to")
    day = read_instant(text)
    if day is not None:
        return day if day.tzinfo else instant_of(day, box.offset_minutes)
    time = read_time(text)
    if time is None:
        if text:
            box.fields.fault("valid_to", Unreadable(Expected.UNTIL))
        return None
    wall = ship_time(box.at, box.offset_minutes).replace(tzinfo=None)
    until = datetime.combine(wall.date(), time)
    return instant_of(until if until > wall else until + timedelta(days=1), box.offset_minutes)


def _gas(box: ReadBox) -> Found:
    figure = box.fields.figure
    read = acts.GasChecked(
        at=box.at,
        by=box.by,
        place=GasPlace.ROOM if box.act is WorkAct.ROOM_GAS else GasPlace.COVER,
        oxygen_percent=figure("oxygen_percent", empty=_(NEEDED)),
        lel_percent=figure("lel_percent", empty=_(NEEDED)),
        h2s_ppm=figure("h2s_ppm", empty=_(NEEDED)),
        meter=box.needed("meter"),
        bump_tested=True,
    )
    return [read], None


def _rinsed(box: ReadBox) -> Found:
    lock_box = box.fields.text("box_no")
    noted: list[AnyStep] = (
        [Noted(at=box.at, by=box.by, about=Note.OTHER, name=LOCK_BOX, text=lock_box)] if lock_box else []
    )
    return [*noted, acts.Rinsed(at=box.at, by=box.by, drained_to=box.fields.text("drained_to"))], None


def _locked(box: ReadBox) -> Found:
    text = box.fields.text
    tag = acts.TagPlaced(
        at=box.at,
        by=box.by,
        point=box.name,
        lock_no=text("lock_no"),
        tag_no=text("tag_no"),
        box_no=text("box_no"),
        override=text("override"),
    )
    return [tag], None


def _started(box: ReadBox) -> Found:
    return [acts.StartTried(at=box.at, by=box.by, control_alive=True)], None


def _dead(box: ReadBox) -> Found:
    meter = box.needed("meter")
    read = acts.NoVoltage(
        at=box.at, by=box.by, all_phases=True, meter=meter, meter_proved_before=True, meter_proved_after=True
    )
    return [read], None


def _vacuum(box: ReadBox) -> Found:
    return [acts.VacuumLetOut(at=box.at, by=box.by, gauge_stays_at_zero=True, drained=True)], None


def _on_box(box: ReadBox) -> Found:
    return [acts.PersonalLockOn(at=box.at, by=box.by)], None


def _opened(box: ReadBox) -> Found:
    if box.do == "shut":
        return [acts.PeopleClear(at=box.at, by=box.by)], None
    return [acts.Opened(at=box.at, by=box.by)], None


def _step(box: ReadBox) -> Found:
    steps = measures_from(box.fields, box.kind, box.at, box.by)
    seen = box.do.removeprefix("seen:") if box.do.startswith("seen:") else ""
    if seen:
        words = box.fields.text("text")
        steps.append(Noted(at=box.at, by=box.by, about=Note.FINDING, name=seen, text=words))
    return [*steps, Noted(at=box.at, by=box.by, about=Note.STEP, name=box.name)], None


def _clear(box: ReadBox) -> Found:
    mine = any(same(lock.person) == same(box.by) for lock in box.work.personal_hanging)
    off: list[AnyStep] = [acts.PersonalLockOff(at=box.at, by=box.by)] if mine else []
    return [acts.PeopleClear(at=box.at, by=box.by), *off], None


def _off_box(box: ReadBox) -> Found:
    return [acts.PersonalLockOff(at=box.at, by=box.do.removeprefix("off:"))], None


def _unlocked(box: ReadBox) -> Found:
    return [acts.TagRemoved(at=box.at, by=box.by, point=box.name)], None


def _local_start(box: ReadBox) -> Found:
    if box.do == "failed":
        return _failed(box)
    current = [value for name in PHASES if (value := box.fields.figure(name, empty=_(NEEDED))) is not None]
    why = box.needed("why") if box.do == "again" else ""
    steps: list[AnyStep] = []
    if box.work.warned_at is None:
        steps.append(acts.PeopleWarned(at=box.at, by=box.by, names=box.needed("names")))
    steps.append(acts.StartedLocally(at=box.at, by=box.by, no_leak=True, turns_right=True, phase_ampere=tuple(current)))
    steps += current_from(current, box.kind, box.at, box.by, why)
    return [*measures_from(box.fields, box.kind, box.at, box.by), *steps], None


def _failed(box: ReadBox) -> Found:
    text = box.fields.text("why") or box.fields.text("reason")
    return [acts.Tested(at=box.at, by=box.by, result=Test.FAILED, text=text)], None


def _auto(box: ReadBox) -> Found:
    return _failed(box) if box.do == "failed" else ([acts.Returned(at=box.at, by=box.by)], None)


def _close(box: ReadBox) -> Found:
    if box.do == "failed":
        return _failed(box)
    steps = measures_from(box.fields, box.kind, box.at, box.by)
    proved = box.work.test is Test.PASSED
    if not proved and box.do != "unproved":
        steps.append(
            acts.Tested(
                at=box.at,
                by=box.by,
                result=Test.PASSED,
                pull_down_seconds=box.fields.figure("pull_down_seconds", empty=_(NEEDED)),
                limit_seconds=box.fields.figure("limit_seconds"),
                from_vacuum_kpa=box.plant.start_vacuum_kpa,
                to_vacuum_kpa=box.plant.stop_vacuum_kpa,
                quiet_hour=True,
                others_stopped=True,
            )
        )
    steps += permits_closed(box.work, box.at, box.by)
    return steps, close_from(box.fields, box.at, box.by, Test.NONE if box.do == "unproved" else Test.PASSED)


def permits_closed(work: WorkState, at: datetime, by: str) -> list[AnyStep]:
    """The permits that are open, handed back."""
    return [acts.PermitClosed(at=at, by=by, number=one.number) for one in work.permits if one.closed_at is None]


def close_from(fields: Fields, at: datetime, by: str, test: Test) -> Close:
    """The close as the box has it."""
    checked_by = fields.text("checked_by")
    if checked_by and same_name(checked_by, by):
        fields.fault("checked_by", _("the checker is the doer; name someone else, or leave it empty."))
    return Close(
        done_at=at,
        done_by=by,
        test=test,
        checked_by=checked_by or None,
        company=fields.text("company"),
        answers_for=fields.text("answers_for"),
        running_hours=fields.figure("running_hours"),
        findings=fields.text("findings"),
        reason=fields.text("reason"),
    )


_READERS: Mapping[WorkAct, Callable[[ReadBox], Found]] = {
    WorkAct.READY: _ready,
    WorkAct.ROOM_GAS: _gas,
    WorkAct.RINSED: _rinsed,
    WorkAct.LOCKED: _locked,
    WorkAct.START_TRIED: _started,
    WorkAct.NO_VOLTAGE: _dead,
    WorkAct.VACUUM_OUT: _vacuum,
    WorkAct.ON_BOX: _on_box,
    WorkAct.COVER_GAS: _gas,
    WorkAct.OPENED: _opened,
    WorkAct.STEP: _step,
    WorkAct.CLEAR: _clear,
    WorkAct.OFF_BOX: _off_box,
    WorkAct.UNLOCKED: _unlocked,
    WorkAct.LOCAL_START: _local_start,
    WorkAct.AUTO: _auto,
    WorkAct.CLOSE: _close,
}
