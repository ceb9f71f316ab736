"""Answers about vessels: documents and their versions, the ship's clock, plants and pumps as they stand, what is odd."""

from collections.abc import Mapping
from typing import Annotated, Self

from pydantic import Field

from api.routes.answers.due import DueJobAnswer
from api.routes.answers.hours import FlagShown, HoursShown
from api.routes.shared import shapes
from scheduler.actions.plant_state.load import PlantState
from scheduler.actions.vessel.fleet import Version
from scheduler.domain.base.enums import Subject
from scheduler.domain.capacity.minimum import Swept
from scheduler.domain.checks.diagnosis import Diagnosis
from scheduler.domain.vessel.document import Pump, Vessel
from scheduler.wording.care import diagnosis_words

FLAGS_SHOWN = 50


class VesselShown(shapes.AnswerModel):
    """A vessel that this key reaches."""

    vessel: shapes.VesselId
    name: str
    imo: Annotated[str, Field(description="IMO number; may be empty")]
    version: shapes.VersionNumber
    plants: list[shapes.PlantId]

    @classmethod
    def of(cls, vessel: Vessel, version: int) -> Self:
        """From its document."""
        return cls(
            vessel=vessel.id,
            name=vessel.name,
            imo=vessel.imo,
            version=version,
            plants=[plant.id for plant in vessel.plants],
        )


class VesselsAnswer(shapes.AnswerModel):
    """The vessels that this key reaches."""

    vessels: list[VesselShown]


class VesselStoredAnswer(shapes.AnswerModel):
    """A vessel's document is stored."""

    vessel: shapes.VesselId
    version: shapes.VersionNumber


class DocumentVersion(shapes.AnswerModel):
    """A stored version of a document, without the document. record: tells what differs; null for the first."""

    version: shapes.VersionNumber
    stored_at: shapes.At
    by: shapes.PersonName
    reason: str
    approved_by: Annotated[str, Field(description="who ashore approved it; empty while nobody has")]
    record: shapes.RecordNumber | None
    to_approve: Annotated[list[str], Field(description="its changes that somebody ashore approves")]
    approved_at: shapes.At | None

    @classmethod
    def of(cls, one: Version) -> Self:
        """From the version as listed."""
        return cls(
            version=one.version,
            stored_at=shapes.z(one.stored_at),
            by=one.by,
            reason=one.reason,
            approved_by=one.approved_by,
            record=one.record or None,
            to_approve=list(one.to_approve),
            approved_at=None if one.approved_at is None else shapes.z(one.approved_at),
        )


class VersionApprovedAnswer(shapes.AnswerModel):
    """The changes of a version are approved."""

    vessel: shapes.VesselId
    version: shapes.VersionNumber
    approved_by: shapes.PersonName
    record: shapes.RecordNumber


class VersionsAnswer(shapes.AnswerModel):
    """Newest first."""

    vessel: shapes.VesselId
    versions: list[DocumentVersion]


class ClockChangeAnswer(shapes.AnswerModel):
    """A change of ship time is recorded."""

    vessel: shapes.VesselId
    offset_minutes: Annotated[int, Field(description="minutes ahead of UTC from then on")]
    record: shapes.RecordNumber


class FittedPart(shapes.AnswerModel):
    """A part that is in a pump now."""

    part: Annotated[str, Field(description="id of the part")]
    hours: HoursShown | None


class PumpShown(shapes.AnswerModel):
    """A pump as it stands. position: null while it is ashore."""

    pump: shapes.PumpId
    serial: str
    position: shapes.PositionId | None
    position_name: Annotated[shapes.PositionName, Field(description="name of the position, or of the plant")]
    state: str
    counts_for_swept_m3_per_h: shapes.SweptFlow
    hours: HoursShown | None
    parts: list[FittedPart]


class CounterLine(shapes.AnswerModel):
    """A counter of a plant."""

    counter: shapes.CounterId
    position: shapes.PositionId
    newest_at: shapes.At | None
    silent: Annotated[bool, Field(description="nothing came from it for longer than its tolerance")]
    primary: Annotated[bool, Field(description="it is the one that counts for its position")]


class PlantAnswer(shapes.AnswerModel):
    """A plant as it stands: pumps with hours and capacity, counters with flags, open jobs in counts."""

    plant: shapes.PlantId
    name: str
    vessel: shapes.VesselId
    at: shapes.At
    ship_offset: Annotated[str, Field(description="the ship's clock ahead of UTC", examples=["+01:00"])]
    hours_as_of: shapes.At | None
    jobs_by_state: Annotated[dict[str, int], Field(description="how many jobs are open in each state")]
    pumps: list[PumpShown]
    counters: list[CounterLine]
    flags: list[FlagShown]

    @classmethod
    def of(cls, now: PlantState) -> Self:
        """From the plant's state."""
        states, counts_for = [job.state.value for job in now.jobs if job.first], now.counts_for()
        places = {counter.id: counter.position for counter in now.counters}
        return cls(
            plant=now.plant.id,
            name=now.plant.name,
            vessel=now.vessel.id,
            at=shapes.z(now.at),
            ship_offset=shapes.offset_text(now.offset_minutes),
            hours_as_of=shapes.z(now.hours_as_of()),
            jobs_by_state={state: states.count(state) for state in dict.fromkeys(states)},
            pumps=[PumpShown.model_validate(pump_members(now, pump, counts_for)) for pump in now.plant.pumps],
            counters=[
                CounterLine(
                    counter=c.id,
                    position=c.position,
                    newest_at=shapes.z(c.newest_at),
                    silent=c.silent,
                    primary=c.primary,
                )
                for c in now.counters
            ],
            flags=[
                FlagShown.of(flag, now.position_name(places[counter]), now.offset_minutes)
                for counter, flag in now.flags[:FLAGS_SHOWN]
            ],
        )


class PumpAnswer(PumpShown):
    """A pump as it stands, the hours of its position, and the open jobs on it."""

    position_hours: HoursShown | None
    jobs: list[DueJobAnswer]

    @classmethod
    def of(cls, now: PlantState, pump_id: str) -> Self:
        """From the plant's state."""
        pump = next(one for one in now.plant.pumps if one.id == pump_id)
        position = now.plant.position_of(pump.id, now.at)
        return cls.model_validate(
            {
                **pump_members(now, pump, now.counts_for()),
                "position_hours": _hours(now, Subject.POSITION, position or ""),
                "jobs": [DueJobAnswer.of(now, job) for job in now.jobs if job.pump == pump_id and job.first],
            }
        )


def pump_members(now: PlantState, pump: Pump, counts_for: Mapping[str, Swept]) -> dict[str, object]:
    """What is shown of a pump wherever it stands. counts_for: of each pump id."""
    position = now.plant.position_of(pump.id, now.at)
    return {
        "pump": pump.id,
        "serial": pump.serial,
        "position": position,
        "position_name": now.position_name(position),
        "state": now.outage_status.get(pump.id, "available"),
        "counts_for_swept_m3_per_h": counts_for[pump.id].m3_per_h if pump.id in counts_for else 0.0,
        "hours": _hours(now, Subject.PUMP, pump.id),
        "parts": [
            FittedPart(part=f.part, hours=_hours(now, Subject.PART, f.part))
            for f in now.plant.fittings
            if f.pump == pump.id and f.to_at is None
        ],
    }


def _hours(now: PlantState, subject: Subject, subject_id: str) -> HoursShown | None:
    key = (subject, subject_id)
    return HoursShown.of(now.hours.get(key), now.projected.get(key))


class DiagnosisShown(shapes.AnswerModel):
    """One thing that is wrong or odd: what, which, since when, what to do."""

    about: str
    which: str
    since: shapes.At | None
    says: shapes.Sentence
    do: shapes.Sentence
    note: Annotated[bool, Field(description="worth knowing, but nothing is wrong")]

    @classmethod
    def of(cls, one: Diagnosis) -> Self:
        """From the diagnosis."""
        says, do = diagnosis_words(one)
        return cls(about=one.about, which=one.which, since=shapes.z(one.since_at), says=says, do=do, note=one.note)


class DiagnosisAnswer(shapes.AnswerModel):
    """The most urgent first."""

    looks: list[DiagnosisShown]
