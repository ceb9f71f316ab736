"""People, keys, sign-in links, sessions, and the answers of repeated requests."""

from sqlalchemy import func
from sqlmodel import Session, col, select

from scheduler.storage.tables import (
    ApiKeyRow,
    IdempotencyRow,
    PersonRow,
    RememberedRow,
    SessionRow,
    SignInLinkRow,
    TaskRunRow,
)


def person_row(session: Session, person_id: str) -> PersonRow | None:
    """That person, or none."""
    return session.get(PersonRow, person_id)


def person_rows(session: Session, vessel_id: str | None = None) -> list[PersonRow]:
    """People, of one vessel and of the office when `vessel_id` is given; by id."""
    query = select(PersonRow).order_by(PersonRow.id)
    if vessel_id is not None:
        query = query.where((col(PersonRow.vessel_id) == vessel_id) | col(PersonRow.vessel_id).is_(None))
    return list(session.exec(query))


def key_row_by_prefix(session: Session, prefix: str) -> ApiKeyRow | None:
    """The key with that prefix, revoked or not, or none."""
    return session.get(ApiKeyRow, prefix)


def key_rows(session: Session) -> list[ApiKeyRow]:
    """Every key, oldest first; none of them holds its secret."""
    return list(session.exec(select(ApiKeyRow).order_by(col(ApiKeyRow.created_s), ApiKeyRow.prefix)))


def link_row(session: Session, sha256: str) -> SignInLinkRow | None:
    """The sign-in link with that hash, used or not, or none."""
    return session.get(SignInLinkRow, sha256)


def signed_in(session: Session, sha256: str, now_s: int) -> tuple[SessionRow, PersonRow] | None:
    """The live session with that hash and its person, or none."""
    query = (
        select(SessionRow, PersonRow)
        .where(SessionRow.sha256 == sha256, SessionRow.expires_s > now_s)
        .where(PersonRow.id == SessionRow.person_id)
    )
    return session.exec(query).first()


def end_session(session: Session, sha256: str) -> None:
    """Forget the session with that hash."""
    row = session.get(SessionRow, sha256)
    if row is not None:
        session.delete(row)


def answer_given(session: Session, vessel_id: str, key: str, actor: str) -> IdempotencyRow | None:
    """The answer kept for that Idempotency-Key of that actor, or none."""
    return session.get(IdempotencyRow, (vessel_id, key, actor))


def task_row(session: Session, name: str, period: str) -> TaskRunRow | None:
    """That run of a timer's task, or none."""
    return session.get(TaskRunRow, (name, period))


def task_rows(session: Session, name: str) -> list[TaskRunRow]:
    """Every run of that task, by period."""
    return list(session.exec(select(TaskRunRow).where(TaskRunRow.task == name).order_by(TaskRunRow.period)))


def open_tasks(session: Session, name: str, begins: str = "") -> list[TaskRunRow]:
    """Runs of that task that have not ended and whose period begins so, oldest first."""
    query = select(TaskRunRow).where(TaskRunRow.task == name, col(TaskRunRow.ended_s).is_(None))
    if begins:  # no pattern: on SQLite that does not tell capitals from small letters
        query = query.where(func.substr(TaskRunRow.period, 1, len(begins)) == begins)
    return list(session.exec(query.order_by(col(TaskRunRow.started_s), TaskRunRow.period)))


def failed_tasks(session: Session, since_s: int) -> list[TaskRunRow]:
    """Runs since an instant whose outcome is not good, newest first."""
    query = select(TaskRunRow).where(
        TaskRunRow.started_s >= since_s, col(TaskRunRow.outcome).is_not(None), TaskRunRow.outcome != "done"
    )
    return list(session.exec(query.order_by(col(TaskRunRow.started_s).desc())))


def remembered(session: Session, name: str) -> str:
    """What was remembered under a name, empty when nothing was."""
    row = session.get(RememberedRow, name)
    return "" if row is None else row.value


def remember(session: Session, name: str, value: str) -> None:
    """Remember a value under a name."""
    session.merge(RememberedRow(name=name, value=value))
