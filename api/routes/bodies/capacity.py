"""What is posted about capacity: pumps down and back, tests, lower minima."""

from typing import Annotated, Literal

from pydantic import Field, FiniteFloat

from api.routes.shared.bodies import Body, Instant, NeededName, NeededReason, NobodyElse, Reason, said
from scheduler.domain.base.enums import Test
from scheduler.domain.capacity.notices import Notified


class DownBody(Body):
    """A pump is out of order since `at`. expected_at: when it is expected back, where that is known."""

    at: Instant
    reason: NeededReason
    expected_at: Instant | None = None


class ExpectedBody(Body):
    """When a pump that is out is expected back; null: not known any more."""

    expected_at: Instant | None


class RunsBody(Body):
    """A pump that was put out runs after all, untouched, since `at`."""

    at: Instant
    reason: Reason = ""


class StopNoticeBody(Body):
    """Somebody was told at `at` that a pump stopped."""

    whom: Notified
    at: Instant


class BackBody(Body):
    """A pump is back. measured_swept_m3_per_h: what a passed pull-down test gave, at the stop setpoint."""

    at: Instant
    test: Test
    measured_swept_m3_per_h: Annotated[FiniteFloat, Field(gt=0, le=5000)] | None = None
    reason: NeededReason


class FiguresBody(Body):
    """A pull-down read off gauge and watch, one pump running; the hold with all pumps stopped. kPa below atmosphere."""

    from_vacuum_kpa: Annotated[FiniteFloat, Field(ge=0, lt=101)]
    to_vacuum_kpa: Annotated[FiniteFloat, Field(gt=0, lt=101)]
    seconds: Annotated[FiniteFloat, Field(gt=0, le=86400)]
    hold_rise_kpa: Annotated[FiniteFloat, Field(ge=-101, le=101)] | None = None
    hold_seconds: Annotated[FiniteFloat, Field(gt=0, le=604800)] | None = None


class PumpTestBody(Body):
    """A pump's pull-down test: figures, or a log as CSV text. result: as the tester judges by manual and procedures."""

    at: Instant
    result: Literal[Test.PASSED, Test.FAILED]
    done_by: NeededName
    figures: FiguresBody | None = None
    log: Annotated[str, Field(max_length=900_000)] | None = None
    ultimate_kpa: Annotated[FiniteFloat, Field(ge=0, lt=101)] = 0.0
    reason: Reason = ""


class ConcessionBody(Body):
    """A lower minimum for a stretch of time, swept m3/h."""

    from_at: Instant
    to_at: Instant
    minimum_swept_m3_per_h: Annotated[FiniteFloat, said(minimum=0)]
    reason: NeededReason


class ConcessionSignatureBody(Body):
    """A signature under a concession, by who sends it; as: which side."""

    as_: Annotated[Literal["chief", "hotel", "chief officer", "master"], Field(alias="as")]
    name: NobodyElse = ""
    master: NobodyElse = ""
