"""Answers about the compliance history, and what it tells about reliability."""

from typing import Annotated

from pydantic import Field

from api.routes.shared.shapes import AnswerModel, At, HoursRun, PlantId, PumpId, Quantity, Sentence, VesselId

Percent = Annotated[Quantity, Field(description="%")]


class DoneInWindow(AnswerModel):
    """Closed jobs of a kind by verdict."""

    job_kind: str
    closed: int
    in_window: int
    early: int
    past_due_within_limit: int
    late: int
    postponed: int
    due_and_not_done: int
    in_window_percent_of_closed: Percent | None
    in_window_percent_with_not_done: Percent | None


class HistorySummaryAnswer(AnswerModel):
    """The history in counts. from, to: null where the period is open; filter: null where nothing is left out."""

    vessel: Annotated[str, Field(description="name of the vessel")]
    made_by: str
    as_of: At
    version: Annotated[str, Field(description="of the program")]
    from_at: Annotated[At | None, Field(alias="from")]
    to_at: Annotated[At | None, Field(alias="to")]
    filter: Sentence | None
    records: int
    head: Annotated[str | None, Field(description="SHA-256 of the newest record, 64 hex digits")]
    completeness: Sentence
    by_verdict: dict[str, int]
    by_record_kind: dict[str, int]
    done_in_window: list[DoneInWindow]
    definitions: Annotated[dict[str, str], Field(description="what the counts mean, in words")]


class MeanBreakdowns(AnswerModel):
    """Breakdowns of a pump up to so many running hours, on average."""

    running_hours: HoursRun
    a_pump: Annotated[Quantity, Field(description="breakdowns of a pump")]
    error: Annotated[Quantity, Field(description="standard error, breakdowns of a pump")]


class LifeShown(AnswerModel):
    """What running hours between breakdowns tell about wear; the figures only where there are enough breakdowns."""

    says: Sentence
    scale_running_hours: HoursRun | None = None
    shape: Annotated[Quantity, Field(description="above 1: the older, the likelier")] = 0
    shape_low: Annotated[Quantity, Field(description="lower bound of the shape")] = 0


class PumpReliability(AnswerModel):
    """Mean running hours between breakdowns of a pump, with their bounds."""

    plant: PlantId
    pump: PumpId
    serial: str
    breakdowns: int
    observed_running_hours: HoursRun
    mtbf_running_hours: HoursRun | None
    mtbf_low_running_hours: HoursRun | None
    mtbf_high_running_hours: HoursRun | None


class ReliabilityAnswer(AnswerModel):
    """Breakdowns and running hours of each pump of a vessel."""

    vessel: VesselId
    pumps: list[PumpReliability]
    confidence_percent: Annotated[int, Field(description="%, of the bounds")]
    trend: Sentence
    mean_breakdowns: list[MeanBreakdowns]
    life: LifeShown
