"""Answers about what the hours say: signs, what was answered to them, and why nothing can be said."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Annotated, Literal, Self

from pydantic import Field

from api.routes.shared import shapes
from scheduler.actions.due.sooner import Sooner
from scheduler.actions.hours.signs import FoldedPlant, OneSign
from scheduler.domain.hours.sign_facts import PlantSigns, SignFacts
from scheduler.domain.hours.sign_values import Quiet
from scheduler.wording.signs import end_words, quiet_words, sign_words

SignNumber = Annotated[int, Field(description="number of the sign on this vessel", examples=[1])]


class SignAnswerShown(shapes.AnswerModel):
    """What a person answered to a sign."""

    answer: Annotated[str, Field(description="mended, known or nothing found", examples=["mended"])]
    cause: str
    text: str
    until_on: Annotated[shapes.Day | None, Field(description="last day of a known cause; null: for good")]
    by: shapes.PersonName
    at: shapes.At


class SoonerShown(shapes.AnswerModel):
    """The next job due by hours, and how many days sooner it comes than at the usual hours."""

    job: shapes.JobKey
    position: shapes.PositionId | None
    days: int


class SignShown(shapes.AnswerModel):
    """A lasting change in the hours of a plant or of one pump."""

    sign: SignNumber | None
    about: Literal["plant", "pump"]
    position: shapes.PositionId | None
    up: Annotated[bool, Field(description="false: this pump needs less than its sisters")]
    began_on: Annotated[shapes.Day, Field(description="about when it began, a UTC day")]
    seen_on: Annotated[shapes.Day, Field(description="the UTC day whose hours showed it")]
    rise_percent: Annotated[int, Field(description="how much more than usual, to the nearest 10")]
    pump_hours_a_day: Annotated[float | None, Field(description="pump-hours a day that it means, of the plant alone")]
    usual_until_on: Annotated[shapes.Day, Field(description="last UTC day of what it is measured against")]
    days_used: Annotated[int, Field(description="days of what it is measured against")]
    state: Annotated[str, Field(description="open, or how it ended", examples=["open"])]
    ended_on: shapes.Day | None
    back_on: Annotated[shapes.Day | None, Field(description="since when it is back to usual")]
    answer: SignAnswerShown | None
    sooner: SoonerShown | None
    says: shapes.Sentence

    @classmethod
    def of(
        cls, one: SignFacts, stored: OneSign, names: Mapping[str, str], found: PlantSigns, sooner: Sooner | None
    ) -> Self:
        """From the facts. names: of positions."""
        answer = stored.answer
        says = sign_words(one, names, pumps_speak=found.pumps_quiet is None) if one.end is None else end_words(one)
        return cls(
            sign=one.number,
            about="plant" if one.position is None else "pump",
            position=one.position,
            up=one.up,
            began_on=one.began_on.isoformat(),
            seen_on=one.seen_on.isoformat(),
            rise_percent=one.rise_percent,
            pump_hours_a_day=one.hours_a_day,
            usual_until_on=one.usual_until_on.isoformat(),
            days_used=one.days_used,
            state="open" if one.end is None else one.end.value,
            ended_on=None if one.ended_on is None else one.ended_on.isoformat(),
            back_on=None if one.back_on is None else one.back_on.isoformat(),
            answer=None
            if answer is None
            else SignAnswerShown(
                answer=answer.answer,
                cause=answer.cause,
                text=answer.text,
                until_on=None if answer.until_on is None else answer.until_on.isoformat(),
                by=answer.by,
                at=shapes.z(answer.at),
            ),
            sooner=None
            if sooner is None
            else SoonerShown(job=sooner.job.job_id.key, position=sooner.job.position, days=sooner.days),
            says=says,
        )


class QuietShown(shapes.AnswerModel):
    """Why nothing can be said."""

    reason: str
    speaks_on: Annotated[shapes.Day | None, Field(description="the earliest UTC day on which it may")]
    says: shapes.Sentence

    @classmethod
    def of(cls, one: Quiet | None) -> Self | None:
        """From the reason, or none."""
        if one is None:
            return None
        on = None if one.speaks_day is None else (date(1970, 1, 1) + timedelta(days=one.speaks_day)).isoformat()
        return cls(reason=one.reason.value, speaks_on=on, says=quiet_words(one))


class SignsAnswer(shapes.AnswerModel):
    """What the hours say of a plant: open and closed signs, newest first."""

    plant: shapes.PlantId
    signs: list[SignShown]
    least_percent: Annotated[int | None, Field(description="the smallest lasting rise that would show, percent")]
    quiet: QuietShown | None
    pumps_quiet: QuietShown | None

    @classmethod
    def of(cls, folded: FoldedPlant, sooner: Sooner | None = None) -> Self:
        """sooner: of the plant's open sign."""
        found = folded.facts()
        names = {position.id: position.name for position in folded.plant.positions}
        stored = {(one.number, one.position, one.sign.seen_day): one for one in folded.signs}
        signs = []
        for one in found.signs:
            mine = next(s for key, s in stored.items() if key[:2] == (one.number, one.position))
            signs.append(SignShown.of(one, mine, names, found, sooner if one is found.plant_sign else None))
        return cls(
            plant=folded.plant.id,
            signs=signs,
            least_percent=found.least_percent,
            quiet=QuietShown.of(found.quiet),
            pumps_quiet=QuietShown.of(found.pumps_quiet),
        )


class SignAnswered(shapes.AnswerModel):
    """An answer that is on record, or taken back (answer null)."""

    sign: SignNumber
    answer: str | None
    record: shapes.RecordNumber
