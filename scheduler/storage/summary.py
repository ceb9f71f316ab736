"""How each plant stands in short, as last worked out: rows in the order in which a page of many ships lists them."""

from collections.abc import Collection
from datetime import UTC, datetime
from typing import NamedTuple

from sqlalchemy import BigInteger, Index
from sqlmodel import Field, Session, col, func, select

from scheduler.storage.types import Instant, Row
from scheduler.storage.vessel import RevisionRow, VesselRow

NEVER_S = 2**53
"""In place of the second at which something falls due where nothing does."""
_LONG_AGO = datetime.fromtimestamp(0, UTC)


class PlantSummaryRow(Row, table=True):
    """A plant's summary. text: of a `domain.feed.summary.PlantSummary`, empty before the first; form: of which shape it is.

    rank, due_s: the worst plant first, of those alike the one with something due first. revision: of the vessel's that it was worked
    out of. turns_at: when the clock alone makes it another.
    """

    __table_args__ = (Index(None, "rank", "due_s", "vessel_id", "plant_id"),)

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    plant_id: str = Field(primary_key=True)
    rank: int = Field(default=0, sa_type=BigInteger)
    due_s: int = Field(default=0, sa_type=BigInteger)
    turns_at: datetime = Field(default=_LONG_AGO, sa_type=Instant, sa_column_kwargs={"name": "turns_s"}, index=True)
    worked_at: datetime = Field(default=_LONG_AGO, sa_type=Instant, sa_column_kwargs={"name": "worked_s"})
    revision: int = Field(default=-1, sa_type=BigInteger)
    form: str = ""
    text: str = ""


class SummaryLine(NamedTuple):
    """A summary with the vessel's name, number and newest revision."""

    row: PlantSummaryRow
    name: str
    imo: str
    revision: int


def summary_row(session: Session, vessel_id: str, plant_id: str) -> PlantSummaryRow | None:
    """The summary of a plant as last worked out, or none for no such plant."""
    return session.get(PlantSummaryRow, (vessel_id, plant_id))


def put_summary_rows(session: Session, vessel_id: str, plants: Collection[str]) -> None:
    """Make it so that each of a vessel's plants has a row, to be worked out, and nothing else has."""
    rows = session.exec(select(PlantSummaryRow).where(PlantSummaryRow.vessel_id == vessel_id))
    there = {row.plant_id: row for row in rows}
    session.add_all(PlantSummaryRow(vessel_id=vessel_id, plant_id=one) for one in plants if one not in there)
    for plant_id, row in there.items():
        if plant_id not in plants:
            session.delete(row)


def vessels_turned(session: Session, form: str, at: datetime, only: str | None = None) -> list[str]:
    """Vessels, or that one, with a summary that the clock alone has made another by an instant, or that is not of that form."""
    row = PlantSummaryRow
    turned = select(row.vessel_id).where(row.turns_at <= at)
    other = select(row.vessel_id).where(row.form != form)
    if only is not None:
        turned, other = (query.where(row.vessel_id == only) for query in (turned, other))
    return sorted({*session.exec(turned), *session.exec(other)})


def summary_lines(session: Session, vessel_id: str | None, *, skip: int, most: int) -> list[SummaryLine]:
    """At most so many summaries of all vessels, or of the one named, the worst first, so many of them skipped."""
    row, vessel, newest = PlantSummaryRow, VesselRow, RevisionRow
    query = (
        select(row, vessel.name, vessel.imo, func.coalesce(col(newest.number), 0))
        .join(vessel, col(vessel.id) == col(row.vessel_id))
        .outerjoin(newest, col(newest.vessel_id) == col(row.vessel_id))
        .order_by(col(row.rank), col(row.due_s), col(row.vessel_id), col(row.plant_id))
        .offset(skip)
        .limit(most)
    )
    if vessel_id is not None:
        query = query.where(row.vessel_id == vessel_id)
    return [SummaryLine(*one) for one in session.exec(query)]


def summaries_by(session: Session, vessel_id: str | None, fold: int) -> dict[int, int]:
    """How many summaries of all vessels, or of the one named, there are of each rank divided by `fold`, in whole numbers."""
    part = (col(PlantSummaryRow.rank) // fold).label("part")
    query = select(part, func.count()).group_by(part)
    if vessel_id is not None:
        query = query.where(PlantSummaryRow.vessel_id == vessel_id)
    return {int(number): many for number, many in session.exec(query)}
