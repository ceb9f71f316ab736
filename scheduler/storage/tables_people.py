"""Tables of people, keys, sign-in, repeated requests, the calendar feed and the timers.

Secrets stand here only as SHA-256. A null vessel_id, or "" where it is part of a key, means the whole installation.
"""

from sqlalchemy import BigInteger
from sqlmodel import Field

from scheduler.domain.base.enums import Role
from scheduler.storage.columns import WITHOUT_ROWID, Row, by_value


class PersonRow(Row, table=True):
    """Someone who may sign in."""

    id: str = Field(primary_key=True)
    vessel_id: str | None = Field(default=None, foreign_key="vessel.id")
    name: str
    rank: str
    role: Role = Field(sa_type=by_value(Role, "role"))
    created_s: int = Field(sa_type=BigInteger)


class ApiKeyRow(Row, table=True):
    """A key for a program or a counter: found by its prefix, proved by the hash of the whole."""

    prefix: str = Field(primary_key=True)
    sha256: str
    person_id: str | None = Field(default=None, foreign_key="person.id")
    vessel_id: str | None = Field(default=None, foreign_key="vessel.id")
    role: Role = Field(sa_type=by_value(Role, "role"))
    label: str
    created_s: int = Field(sa_type=BigInteger)
    last_used_s: int | None = Field(default=None, sa_type=BigInteger)
    revoked_s: int | None = Field(default=None, sa_type=BigInteger)


class SignInLinkRow(Row, table=True):
    """A printed link that signs a person in, once."""

    sha256: str = Field(primary_key=True)
    person_id: str = Field(foreign_key="person.id")
    expires_s: int = Field(sa_type=BigInteger)
    used_s: int | None = Field(default=None, sa_type=BigInteger)


class SessionRow(Row, table=True):
    """A person signed in at a browser. csrf: the token its forms carry."""

    sha256: str = Field(primary_key=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    csrf: str
    created_s: int = Field(sa_type=BigInteger)
    expires_s: int = Field(sa_type=BigInteger)


class IdempotencyRow(Row, table=True):
    """The answer given to a request with an Idempotency-Key, kept so that the same request gets the same answer."""

    vessel_id: str = Field(primary_key=True)
    key: str = Field(primary_key=True)
    actor: str = Field(primary_key=True)
    fingerprint: str
    status: int
    answer: str
    created_s: int = Field(sa_type=BigInteger, index=True)


class FeedTokenRow(Row, table=True):
    """A person's calendar address; vessel_id none: the whole fleet. id: what people call it by; it stays when the
    secret is changed. kinds: JSON list of job kind codes, none for all. alarm_hour: ship's hour of its reminders, on the evening
    before. days_ahead: how far ahead it shows open jobs, none for all."""

    sha256: str = Field(primary_key=True)
    id: str = Field(unique=True)
    person_id: str = Field(foreign_key="person.id", index=True)
    vessel_id: str | None = Field(default=None, foreign_key="vessel.id")
    created_s: int = Field(sa_type=BigInteger)
    expires_s: int | None = Field(default=None, sa_type=BigInteger)
    revoked_s: int | None = Field(default=None, sa_type=BigInteger)
    last_used_s: int | None = Field(default=None, sa_type=BigInteger)
    agent: str | None = None
    alarms: bool = False
    kinds: str | None = None
    label: str = ""
    alarm_hour: int = Field(default=18, sa_column_kwargs={"server_default": "18"})
    days_ahead: int | None = None


class RememberedRow(Row, table=True):
    """What the installation learned by itself, by name: such as the address its server was reached by."""

    __table_args__ = (WITHOUT_ROWID,)

    name: str = Field(primary_key=True)
    value: str


class FeedEventRow(Row, table=True):
    """An event of the calendar feed as last rendered, and as a task; the texts change only with the fingerprint."""

    vessel_id: str = Field(primary_key=True, foreign_key="vessel.id")
    uid: str = Field(primary_key=True)
    plant_id: str
    occurrence_key: str
    text: str
    fingerprint: str
    sequence: int
    changed_s: int = Field(sa_type=BigInteger)
    created_s: int = Field(sa_type=BigInteger)
    starts_s: int = Field(sa_type=BigInteger)
    ends_s: int = Field(sa_type=BigInteger)
    closed_s: int | None = Field(default=None, sa_type=BigInteger)
    state: str
    task: str = ""


class FeedBodyRow(Row, table=True):
    """A whole calendar as it is sent, by what it shows; vessel_id "" is the fleet.

    changed_s: newest change in it; made_s: when it was put together, and of what. status: the fleet's own status event
    as kept, none for a vessel's calendar.
    """

    vessel_id: str = Field(primary_key=True)
    name: str = Field(primary_key=True)
    body: str
    etag: str
    changed_s: int = Field(sa_type=BigInteger)
    made_s: int = Field(sa_type=BigInteger)
    revision: int = Field(sa_type=BigInteger)
    status: str | None = None


class TaskRunRow(Row, table=True):
    """One run of a timer's task for one period: whoever makes this row does the task."""

    task: str = Field(primary_key=True)
    period: str = Field(primary_key=True)
    vessel_id: str | None = Field(default=None, foreign_key="vessel.id")
    started_s: int = Field(sa_type=BigInteger)
    ended_s: int | None = Field(default=None, sa_type=BigInteger)
    outcome: str | None = None
