"""A page of a numbered list: the newest rows below a number, so that a long list costs what is shown of it."""

from dataclasses import dataclass
from typing import Any

from sqlmodel import Session


@dataclass(frozen=True, slots=True)
class PageAsked:
    """The newest `limit` rows (1 or more) of those numbered below `before`; none: from the newest on."""

    limit: int
    before: int | None = None


def numbered_rows(session: Session, query: Any, number: Any, page: PageAsked | None = None) -> list[Any]:
    """The rows of a query by a column, rising: all of them, or those of a page."""
    if page is None:
        return list(session.exec(query.order_by(number)))
    if page.before is not None:
        query = query.where(number < page.before)
    return list(session.exec(query.order_by(number.desc()).limit(page.limit)))[::-1]
