"""What the answers of the API are made of. Instants are RFC 3339 UTC, with the ship's offset beside."""

from datetime import datetime
from typing import Annotated, Any, overload

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema


@overload
def z(at: datetime) -> str: ...
@overload
def z(at: datetime | None) -> str | None: ...
def z(at: datetime | None) -> str | None:
    """RFC 3339 in UTC, or none."""
    return None if at is None else at.replace(microsecond=0).isoformat().replace("+00:00", "Z")


def offset_text(minutes: int) -> str:
    """The ship's offset as RFC 3339 writes it."""
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def hours_of(seconds: int | None) -> float | None:
    """Running hours of running seconds, to the hundredth."""
    return None if seconds is None else round(seconds / 3600, 2)


def _unsaid(schema: dict[str, Any]) -> None:
    """That members may come is said once, in the API's description, not at every answer."""
    schema.pop("additionalProperties", None)


class AnswerModel(BaseModel):
    """What a door answers. New members may come: one that an action gives and no model names yet is passed on."""

    model_config = ConfigDict(extra="allow", json_schema_extra=_unsaid)

    def plain(self) -> dict[str, Any]:
        """As JSON values, such as a command prints."""
        return self.model_dump(mode="json", by_alias=True, exclude_unset=True)


At = Annotated[str, Field(json_schema_extra={"format": "date-time"}, examples=["2026-11-25T07:00:00Z"])]
"""An instant, RFC 3339 in UTC."""
Day = Annotated[str, Field(json_schema_extra={"format": "date"}, examples=["2026-11-25"])]
"""A date of the ship's calendar."""
Quantity = Annotated[int | float, WithJsonSchema({"type": "number"})]
"""A figure; an integer stays one, so that an answer sent again is the same byte for byte."""

SweptFlow = Annotated[Quantity, Field(description="swept m³/h at the stop setpoint")]
HoursRun = Annotated[Quantity, Field(description="running hours")]
HoursPerDay = Annotated[Quantity, Field(description="running hours a day")]
Days = Annotated[Quantity, Field(description="days")]
Kilopascals = Annotated[Quantity, Field(description="kPa below atmosphere")]

JobKey = Annotated[
    str, Field(description="key of the job: kind:subject:number", examples=["knife_inspection:plover-pump-a-knives:1"])
]
KindCode = Annotated[str, Field(description="code of the job kind", examples=["knife_inspection"])]
VesselId = Annotated[str, Field(description="id of the vessel", examples=["demo-plover"])]
PlantId = Annotated[str, Field(description="id of the plant", examples=["plover-plant"])]
PumpId = Annotated[str, Field(description="id of the pump", examples=["plover-pump-a"])]
CounterId = Annotated[str, Field(description="id of the counter", examples=["plover-vp1-hours"])]
PositionId = Annotated[str, Field(description="id of the position", examples=["plover-vp1"])]
PositionName = Annotated[str, Field(description="name of the position, as people say it", examples=["VP1"])]
PersonName = Annotated[str, Field(description="name of the person, or of the key")]
Sentence = Annotated[str, Field(description="in words, for a person; they may change")]
RecordNumber = Annotated[int, Field(description="number of the record that tells of it")]
RecordStamp = Annotated[str, Field(description="SHA-256 of the record, 64 hex digits")]
PlanDigest = Annotated[str, Field(description="SHA-256 of the plan, 64 hex digits")]
VersionNumber = Annotated[int, Field(description="version, as in the ETag, for If-Match")]
Minutes = Annotated[int, Field(description="minutes")]
WholeHours = Annotated[int, Field(description="hours by the clock")]
