"""The words of the record in an index of the database's own: FTS5 on SQLite, text search on PostgreSQL.

Sources: https://www.sqlite.org/fts5.html; https://www.postgresql.org/docs/current/textsearch.html.
"""

from collections.abc import Sequence

from sqlalchemy import text
from sqlmodel import Session

TABLE = "record_index"
"""Its name, with which those of FTS5's own tables begin too. It is no table of the models: each database has its own kind."""
SQLITE = (
    f"CREATE VIRTUAL TABLE {TABLE} USING fts5(vessel_id UNINDEXED, number UNINDEXED, words, tokenize = 'unicode61')"
)
POSTGRES = (
    f"CREATE TABLE {TABLE} (vessel_id VARCHAR NOT NULL, number BIGINT NOT NULL, words TEXT NOT NULL, "
    f"CONSTRAINT pk_{TABLE} PRIMARY KEY (vessel_id, number))",
    f"CREATE INDEX ix_{TABLE}_words ON {TABLE} USING gin (to_tsvector('simple', words))",
)
_INSERT = text(f"INSERT INTO {TABLE} (vessel_id, number, words) VALUES (:vessel_id, :number, :words)")  # noqa: S608
_MATCH = {
    "sqlite": f"SELECT CAST(number AS INTEGER) AS number FROM {TABLE} WHERE {TABLE} MATCH :looked_for AND vessel_id = :vessel_id",  # noqa: S608
    "postgresql": (
        f"SELECT number FROM {TABLE} WHERE to_tsvector('simple', words) @@ to_tsquery('simple', :looked_for) "  # noqa: S608
        "AND vessel_id = :vessel_id"
    ),
}
_BUT = (
    f" AND NOT EXISTS (SELECT 1 FROM record WHERE record.vessel_id = :vessel_id AND record.number = {TABLE}.number "  # noqa: S608
    "AND record.kind LIKE :but)"
)


def index_record(session: Session, vessel_id: str, number: int, words: str) -> None:
    """Puts a record's words into the index, in the transaction that adds the record."""
    session.connection().execute(_INSERT, {"vessel_id": vessel_id, "number": number, "words": words})


def index_records(session: Session, vessel_id: str, words: Sequence[tuple[int, str]]) -> None:
    """Puts the words of many records into the index: number and words of each."""
    if words:
        rows = [{"vessel_id": vessel_id, "number": number, "words": said} for number, said in words]
        session.connection().execute(_INSERT, rows)


def find_records(session: Session, vessel_id: str, words: Sequence[str], most: int) -> list[int]:
    """Numbers of the newest records that hold every word, or words that begin so; newest first.

    Args:
        words: as `plain_words` gives them, at least one.
    """
    sqlite = session.connection().dialect.name == "sqlite"
    looked_for = " AND ".join(f'"{word}"*' for word in words) if sqlite else " & ".join(f"{word}:*" for word in words)
    return _numbers(session, vessel_id, looked_for, most)


def find_phrases(
    session: Session, vessel_id: str, phrases: Sequence[Sequence[str]], most: int, *, but: str = ""
) -> list[int]:
    """Numbers of the newest records that hold one of the phrases word for word; newest first.

    but: how kinds begin that are left out.
    """
    sqlite = session.connection().dialect.name == "sqlite"
    if sqlite:
        looked_for = " OR ".join(f'"{" ".join(phrase)}"' for phrase in phrases)
    else:
        looked_for = " | ".join(f"({' <-> '.join(phrase)})" for phrase in phrases)
    return _numbers(session, vessel_id, looked_for, most, but)


def _numbers(session: Session, vessel_id: str, looked_for: str, most: int, but: str = "") -> list[int]:
    connection = session.connection()
    query = text(f"{_MATCH[connection.dialect.name]}{_BUT if but else ''} ORDER BY number DESC LIMIT :most")
    given = {"vessel_id": vessel_id, "looked_for": looked_for, "most": most} | ({"but": f"{but}%"} if but else {})
    return [int(row[0]) for row in connection.execute(query, given)]
