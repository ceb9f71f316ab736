"""People, keys, sign-in links and sessions. Secrets stand here only as SHA-256."""

from datetime import datetime

from sqlalchemy import ForeignKeyConstraint, Index
from sqlmodel import Field, Session, col, select

from scheduler.domain.base.enums import Role
from scheduler.storage.types import Instant, Row, by_value


def of_person() -> ForeignKeyConstraint:
    """What ties `person_vessel_id` and `person_id` of a table to a person."""
    return ForeignKeyConstraint(["person_vessel_id", "person_id"], ["person.vessel_id", "person.id"])


class PersonRow(Row, table=True):
    """Someone who may sign in; vessel_id "": one of the whole installation."""

    vessel_id: str = Field(primary_key=True)
    id: str = Field(primary_key=True)
    name: str
    rank: str
    role: Role = Field(sa_type=by_value(Role, "role"))
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})


class ApiKeyRow(Row, table=True):
    """A key for a program or a counter: found by its prefix, proved by the hash of the whole."""

    __table_args__ = (of_person(),)

    prefix: str = Field(primary_key=True)
    sha256: str
    person_vessel_id: str | None = None
    person_id: str | None = None
    vessel_id: str | None = Field(default=None, foreign_key="vessel.id")
    role: Role = Field(sa_type=by_value(Role, "role"))
    label: str
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    last_used_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "last_used_s"})
    revoked_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "revoked_s"})


class SignInLinkRow(Row, table=True):
    """A printed link that signs a person in, once."""

    __table_args__ = (of_person(),)

    sha256: str = Field(primary_key=True)
    person_vessel_id: str
    person_id: str
    expires_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "expires_s"})
    used_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "used_s"})


class SessionRow(Row, table=True):
    """A person signed in at a browser. csrf: the token its forms carry."""

    __table_args__ = (of_person(), Index(None, "person_vessel_id", "person_id"))

    sha256: str = Field(primary_key=True)
    person_vessel_id: str
    person_id: str
    csrf: str
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    expires_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "expires_s"})


def person_row(session: Session, vessel_id: str, person_id: str) -> PersonRow | None:
    """That person of a vessel ("": of the installation), or none."""
    return session.get(PersonRow, (vessel_id, person_id))


def person_rows(session: Session) -> list[PersonRow]:
    """Everybody, by id."""
    return list(session.exec(select(PersonRow).order_by(PersonRow.id, PersonRow.vessel_id)))


def key_row_by_prefix(session: Session, prefix: str) -> ApiKeyRow | None:
    """The key with that prefix, revoked or not, or none."""
    return session.get(ApiKeyRow, prefix)


def key_rows(session: Session) -> list[ApiKeyRow]:
    """Every key, oldest first; none of them holds its secret."""
    return list(session.exec(select(ApiKeyRow).order_by(col(ApiKeyRow.created_at), ApiKeyRow.prefix)))


def link_row(session: Session, sha256: str) -> SignInLinkRow | None:
    """The sign-in link with that hash, used or not, or none."""
    return session.get(SignInLinkRow, sha256)


def signed_in(session: Session, sha256: str, now: datetime) -> tuple[SessionRow, PersonRow] | None:
    """The live session with that hash and its person, or none."""
    query = (
        select(SessionRow, PersonRow)
        .where(SessionRow.sha256 == sha256, SessionRow.expires_at > now)
        .where(PersonRow.vessel_id == SessionRow.person_vessel_id, PersonRow.id == SessionRow.person_id)
    )
    return session.exec(query).first()


def end_session(session: Session, sha256: str) -> None:
    """Forget the session with that hash."""
    row = session.get(SessionRow, sha256)
    if row is not None:
        session.delete(row)
