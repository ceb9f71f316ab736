"""Answers to ships' own servers."""

from typing import Annotated, Any

from pydantic import Field

from api.routes.shared.shapes import AnswerModel, At
from scheduler.actions.base.context import utc_text
from scheduler.actions.shore.taking import LineHead, TakenSoFar

ChangeNumber = Annotated[int, Field(ge=0, description="of the newest change held; 0: none yet", examples=[412])]
ChangeHash = Annotated[str, Field(description="its chain hash, 64 hexadecimal digits")]


class ShipTakenAnswer(AnswerModel):
    """How far a ship is taken. requests: what the office asks of her, not fetched yet."""

    number: ChangeNumber
    hash: ChangeHash
    requests: list[dict[str, Any]]

    @classmethod
    def of(cls, one: TakenSoFar) -> "ShipTakenAnswer":
        """From what was taken."""
        return cls(number=one.number, hash=one.hash, requests=list(one.requests))


class ShipHeadAnswer(AnswerModel):
    """How a ship's line stands. life "": nothing was taken yet."""

    vessel: str
    life: str
    number: ChangeNumber
    hash: ChangeHash
    state: Annotated[str, Field(description="open, refused or parted")]
    heard_at: At | None

    @classmethod
    def of(cls, vessel_id: str, one: LineHead) -> "ShipHeadAnswer":
        """From her line."""
        return cls(
            vessel=vessel_id,
            life=one.life,
            number=one.number,
            hash=one.hash,
            state=one.state.value,
            heard_at=utc_text(one.heard_at),
        )
