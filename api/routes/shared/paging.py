"""Pages of a list: how many, from where on, and the Link to the next one (RFC 8288)."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

from fastapi import Depends, Query, Request, Response

from api.routes.shared.describing import InPages
from scheduler.storage.paging import PageAsked

AnyItem = TypeVar("AnyItem")
MOST_ON_A_PAGE = 500
_LIMIT = Query(ge=1, le=MOST_ON_A_PAGE, description="at most so many on a page")
_CURSOR = "where the page begins, as Link said it; none: with the first"
NumberCursor = Annotated[int | None, Query(ge=0, le=2**53 - 1, description=_CURSOR)]


def link_next(request: Request, response: Response, **query: object) -> None:
    """Says in Link where the next page is: the same address with other values in its query."""
    there = urlencode({**request.query_params, **query})
    response.headers["Link"] = f'<{request.url.path}?{there}>; rel="next"'


@dataclass(frozen=True, slots=True)
class Pages:
    """The page that is asked for. cursor: number or id of the last one that was shown before it."""

    request: Request
    response: Response
    limit: int
    cursor: str | int | None

    @property
    def asked(self) -> PageAsked:
        """For a list that goes from the newest number down; one row more than is shown tells whether there is a next page."""
        return PageAsked(self.limit + 1, None if self.cursor is None else int(self.cursor))

    def shown(self, rows: Sequence[AnyItem], key: Callable[[AnyItem], Any]) -> list[AnyItem]:
        """The rows of this page, of rows that begin with it; where more follow, Link says where they are."""
        page = list(rows[: self.limit])
        if len(rows) > self.limit:
            link_next(self.request, self.response, limit=self.limit, cursor=key(page[-1]))
        return page

    def shown_of_all(self, rows: Sequence[AnyItem], key: Callable[[AnyItem], Any]) -> list[AnyItem]:
        """The same of a whole list: what stands after the one that was shown last, none if that is not there any more."""
        if self.cursor is None:
            return self.shown(rows, key)
        after = [number for number, row in enumerate(rows, 1) if str(key(row)) == str(self.cursor)]
        return self.shown(rows[after[0] :] if after else [], key)


def _by_number(
    request: Request,
    response: Response,
    limit: Annotated[int, _LIMIT] = MOST_ON_A_PAGE,
    cursor: NumberCursor = None,
) -> Pages:
    return Pages(request, response, limit, cursor)


def _by_id(
    request: Request,
    response: Response,
    limit: Annotated[int, _LIMIT] = MOST_ON_A_PAGE,
    cursor: Annotated[str | None, Query(max_length=200, description=_CURSOR)] = None,
) -> Pages:
    return Pages(request, response, limit, cursor)


NumberedPagesDep = Annotated[Pages, Depends(_by_number), InPages()]
NamedPagesDep = Annotated[Pages, Depends(_by_id), InPages()]
