"""People, keys, sign-in links, sessions and shared computers. Random secrets stand here as SHA-256, what people choose as argon2."""

from datetime import datetime

from sqlalchemy import ForeignKeyConstraint, Index, delete, or_
from sqlmodel import Field, Session, col, select

from scheduler.domain.base.enums import Role
from scheduler.domain.people.authentication import Proof
from scheduler.language import ENGLISH
from scheduler.storage.database import INSTALLATION
from scheduler.storage.record import chain_kept_here
from scheduler.storage.types import WITHOUT_ROWID, Instant, Row, by_value


def of_person() -> ForeignKeyConstraint:
    """What ties `person_vessel_id` and `person_id` of a table to a person."""
    return ForeignKeyConstraint(["person_vessel_id", "person_id"], ["person.vessel_id", "person.id"])


class PersonRow(Row, table=True):
    """Someone who may sign in; vessel_id "": one of the whole installation. passphrase, pin: argon2, none until set.

    Nobody who is on record goes: a person is withdrawn.
    """

    vessel_id: str = Field(primary_key=True)
    id: str = Field(primary_key=True)
    name: str
    rank: str
    role: Role = Field(sa_type=by_value(Role, "role"))
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    withdrawn_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "withdrawn_s"})
    passphrase: str | None = None
    passphrase_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "passphrase_s"})
    pin: str | None = None
    language: str = Field(default=ENGLISH, sa_column_kwargs={"server_default": ENGLISH})


class ApiKeyRow(Row, table=True):
    """A key for a program or a counter: found by its prefix, proved by the hash of the whole.

    vessel_id: of a ship's key it may be of one that is not here yet. follows: prefix of the key that this one takes over from.
    made_by: the name of who made it, and the id where that is a person.
    """

    __table_args__ = (of_person(),)

    prefix: str = Field(primary_key=True)
    sha256: str
    person_vessel_id: str | None = None
    person_id: str | None = None
    vessel_id: str | None = None
    role: Role = Field(sa_type=by_value(Role, "role"))
    label: str
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    last_used_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "last_used_s"})
    revoked_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "revoked_s"})
    expires_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "expires_s"})
    follows: str | None = None
    made_by_id: str | None = None
    made_by: str = Field(default="", sa_column_kwargs={"server_default": ""})


class SignInLinkRow(Row, table=True):
    """A link that signs a person in, once. made_by: as of a key."""

    __table_args__ = (of_person(),)

    sha256: str = Field(primary_key=True)
    person_vessel_id: str
    person_id: str
    expires_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "expires_s"})
    used_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "used_s"})
    made_by_id: str | None = None
    made_by: str = Field(default="", sa_column_kwargs={"server_default": ""})


class SharedComputerRow(Row, table=True):
    """A computer aboard that several people use in turn: found by the hash of its cookie. made_by: a name."""

    id: str = Field(primary_key=True)
    vessel_id: str = Field(foreign_key="vessel.id")
    sha256: str = Field(index=True, unique=True)
    label: str
    made_by: str
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    withdrawn_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "withdrawn_s"})


class SessionRow(Row, table=True):
    """A person signed in at a browser. csrf: the token its forms carry.

    proof: by what. proved_at: when the own passphrase was given in it. link_by: who made the link it came from, as of a key.
    device: hash of the browser's own cookie, "" when it has none. agent: the browser, as it calls itself. computer_id: on which
    shared computer.
    """

    __table_args__ = (of_person(), Index(None, "person_vessel_id", "person_id"), Index(None, "device"))

    sha256: str = Field(primary_key=True)
    person_vessel_id: str
    person_id: str
    csrf: str
    created_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "created_s"})
    expires_at: datetime = Field(sa_type=Instant, sa_column_kwargs={"name": "expires_s"})
    proof: str = Field(default=Proof.LINK.value, sa_column_kwargs={"server_default": Proof.LINK.value})
    proved_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "proved_s"})
    link_by_id: str | None = None
    link_by: str = Field(default="", sa_column_kwargs={"server_default": ""})
    device: str = Field(default="", sa_column_kwargs={"server_default": ""})
    agent: str = Field(default="", sa_column_kwargs={"server_default": ""})
    computer_id: str | None = None
    seen_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "seen_s"})
    ended_at: datetime | None = Field(default=None, sa_type=Instant, sa_column_kwargs={"name": "ended_s"})


class VouchedRow(Row, table=True):
    """An act of somebody who came by a link or key that another made, with no passphrase of their own given: while that stands the
    maker does not act as the other of two people. act: such as "concession 3 asked"."""

    __table_args__ = (WITHOUT_ROWID,)

    vessel_id: str = Field(primary_key=True)
    act: str = Field(primary_key=True)
    maker_id: str
    maker: str


def vouched_row(session: Session, vessel_id: str, act: str) -> VouchedRow | None:
    """Who made the link or key by which that act was done, none where its person had proved who they are."""
    return session.get(VouchedRow, (vessel_id, act))


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


def chain_of_key(session: Session, row: ApiKeyRow) -> str:
    """On whose history a key stands. A ship's key is the office's matter: her own history comes from aboard."""
    return INSTALLATION if row.role is Role.SHIP else chain_kept_here(session, row.vessel_id or INSTALLATION)


def good_ship_keys(session: Session, vessel_id: str, now: datetime) -> list[str]:
    """Prefixes of the keys of that ship's own server that are good, sorted."""
    row = ApiKeyRow
    query = select(row.prefix).where(row.role == Role.SHIP, row.vessel_id == vessel_id, col(row.revoked_at).is_(None))
    return sorted(session.exec(query.where(or_(col(row.expires_at).is_(None), col(row.expires_at) > now))))


def link_row(session: Session, sha256: str) -> SignInLinkRow | None:
    """The sign-in link with that hash, used or not, or none."""
    return session.get(SignInLinkRow, sha256)


def link_rows_of(session: Session, vessel_id: str, person_id: str) -> list[SignInLinkRow]:
    """That person's links that nobody used yet."""
    query = select(SignInLinkRow).where(
        SignInLinkRow.person_vessel_id == vessel_id,
        SignInLinkRow.person_id == person_id,
        col(SignInLinkRow.used_at).is_(None),
    )
    return list(session.exec(query))


def signed_in(session: Session, sha256: str, now: datetime) -> tuple[SessionRow, PersonRow] | None:
    """The live session with that hash and its person, or none."""
    query = (
        select(SessionRow, PersonRow)
        .where(SessionRow.sha256 == sha256, SessionRow.expires_at > now, col(SessionRow.ended_at).is_(None))
        .where(PersonRow.vessel_id == SessionRow.person_vessel_id, PersonRow.id == SessionRow.person_id)
        .where(col(PersonRow.withdrawn_at).is_(None))
    )
    return session.exec(query).first()


def session_row(session: Session, sha256: str) -> SessionRow | None:
    """The session with that hash, good or not, or none."""
    return session.get(SessionRow, sha256)


def live_session_rows(session: Session, now: datetime) -> list[SessionRow]:
    """Every session that is good, oldest first."""
    query = select(SessionRow).where(SessionRow.expires_at > now, col(SessionRow.ended_at).is_(None))
    return list(session.exec(query.order_by(col(SessionRow.created_at), SessionRow.sha256)))


def people_on_device(session: Session, device: str, since: datetime) -> list[PersonRow]:
    """Who was signed in with that browser at some time since then, by id."""
    query = (
        select(PersonRow)
        .where(SessionRow.person_vessel_id == PersonRow.vessel_id, SessionRow.person_id == PersonRow.id)
        .where(SessionRow.device == device, SessionRow.expires_at > since)
        .distinct()
    )
    return sorted(session.exec(query), key=lambda one: (one.vessel_id, one.id))


def forget_sessions(session: Session, before: datetime) -> None:
    """Drop sessions that were over before then."""
    session.connection().execute(delete(SessionRow).where(col(SessionRow.expires_at) < before))


def computer_by_secret(session: Session, sha256: str) -> SharedComputerRow | None:
    """The shared computer with that hash, unless it was withdrawn; or none."""
    query = select(SharedComputerRow).where(
        SharedComputerRow.sha256 == sha256, col(SharedComputerRow.withdrawn_at).is_(None)
    )
    return session.exec(query).first()


def computer_row(session: Session, computer_id: str) -> SharedComputerRow | None:
    """That shared computer, withdrawn or not, or none."""
    return session.get(SharedComputerRow, computer_id)


def computer_rows(session: Session, vessel_id: str) -> list[SharedComputerRow]:
    """A vessel's shared computers, oldest first, without those that were withdrawn."""
    query = select(SharedComputerRow).where(
        SharedComputerRow.vessel_id == vessel_id, col(SharedComputerRow.withdrawn_at).is_(None)
    )
    return list(session.exec(query.order_by(col(SharedComputerRow.created_at), SharedComputerRow.id)))
