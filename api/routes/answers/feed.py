"""Answers about a person's own calendar addresses."""

from typing import Annotated

from pydantic import Field

from api.routes.shared.shapes import AnswerModel, At, KindCode, VesselId

FeedId = Annotated[str, Field(description="id of the address")]


class FeedShownOnceAnswer(AnswerModel):
    """A calendar address with its secret: events and tasks, each by http(s) and as webcal. It is shown this once."""

    id: FeedId
    address: str
    webcal: str
    tasks: str
    webcal_tasks: str


class FeedLine(AnswerModel):
    """A calendar address without its secret. vessel null: the whole fleet; kinds null: all."""

    id: FeedId
    person: Annotated[str, Field(description="id of the person")]
    vessel: VesselId | None
    label: str
    alarms: bool
    alarm_hour: Annotated[int | None, Field(description="ship's hour of its reminders, on the evening before")]
    days_ahead: Annotated[int | None, Field(description="open jobs of so many days only")]
    kinds: list[KindCode] | None
    state: str
    made_at: At
    expires_at: At | None
    withdrawn_at: At | None
    last_used_at: At | None
    agent: Annotated[str, Field(description="the program that used it last, as it calls itself")]


class FeedsAnswer(AnswerModel):
    """Calendar addresses of a person."""

    feeds: list[FeedLine]


class FeedWithdrawnAnswer(AnswerModel):
    """An address is withdrawn."""

    id: FeedId
    state: str
