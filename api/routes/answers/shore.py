"""Answers to ships' own servers."""

from typing import Annotated, Any

from pydantic import Field

from api.routes.shared.shapes import AnswerModel, At, z
from scheduler.actions.care.ships_seen import ShipSeen
from scheduler.actions.shore.parted import LostRecord
from scheduler.actions.shore.taking import LineHead, TakenSoFar
from scheduler.wording.care import ship_line_words

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
            heard_at=z(one.heard_at),
        )


class ShipAnswer(AnswerModel):
    """A ship's line. heard_at null: nothing of hers was taken yet. skew_seconds: her clock ahead of ours, null within 5 minutes."""

    vessel: str
    name: str
    state: Annotated[str, Field(description="open, refused or parted")]
    since_at: At
    heard_at: At | None
    number: ChangeNumber
    schema_step: Annotated[str, Field(description="migration step of her program")]
    requests_waiting: Annotated[int, Field(description="requests that she has not fetched")]
    skew_seconds: int | None
    why: Annotated[str | None, Field(description="code of what stands against taking")]
    says: Annotated[list[str], Field(description="what there is to see to, in words")]
    changes_not_aboard: Annotated[int, Field(description="changes of lives that ended")]

    @classmethod
    def of(cls, one: ShipSeen) -> "ShipAnswer":
        """From the list of ships."""
        return cls(
            vessel=one.vessel_id,
            name=one.name,
            state=one.state.value,
            since_at=str(z(one.since_at)),
            heard_at=z(one.heard_at),
            number=one.number,
            schema_step=one.schema,
            requests_waiting=one.waiting,
            skew_seconds=one.skew_s,
            why=None if one.why is None else one.why.value,
            says=ship_line_words(one.diagnoses),
            changes_not_aboard=one.lost,
        )


class ShipsAnswer(AnswerModel):
    """Ships that write aboard."""

    ships: list[ShipAnswer]


class ShipLifeAnswer(AnswerModel):
    """What was answered, and the change from which the ship goes on."""

    vessel: str
    answer: str
    number: ChangeNumber
    record: Annotated[int, Field(description="number in the installation's history")]


class LostRecordAnswer(AnswerModel):
    """A record of a life that ended."""

    life: str
    change: int
    number: int
    kind: str
    recorded_at: At
    text: Annotated[str, Field(description="the record as JSON")]

    @classmethod
    def of(cls, one: LostRecord) -> "LostRecordAnswer":
        """From what is kept of it."""
        return cls(
            life=one.life,
            change=one.change,
            number=one.number,
            kind=one.kind,
            recorded_at=str(z(one.recorded_at)),
            text=one.text,
        )


class LostRecordsAnswer(AnswerModel):
    """Records of a ship's lives that ended, in order."""

    vessel: str
    records: list[LostRecordAnswer]
