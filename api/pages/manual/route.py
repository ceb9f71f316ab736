"""The manual's doors. They are open and need no database: who cannot sign in needs them, and so does who runs a server whose
database is in trouble; nothing of a ship stands in them. Only the language of who is signed in is asked for."""

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.pages.manual.chapters import PARTS, chapter, found_in_manual, with_lists
from api.pages.manual.lists import tables
from api.pages.manual.page import ManualView, manual_page
from api.pages.shared.answers import page_answer
from api.pages.shared.help import MANUAL
from api.server.deps import speak_as_known
from scheduler.errors import NotFound
from scheduler.language import gettext as _

router = APIRouter(include_in_schema=False)
_LONGEST_FIND = 100


@router.get(MANUAL)
def contents(request: Request, find: str = "") -> Response:
    """The manual's contents, or the pages of it that have these words."""
    speak_as_known(request)
    asked = " ".join(find.replace("\0", " ").split())[:_LONGEST_FIND]
    here = f"{MANUAL}?find={quote(asked)}" if asked else MANUAL
    return page_answer(request, None, manual_page, ManualView(here=here, find=asked, found=found_in_manual(asked)))


@router.get(f"{MANUAL}/{{name}}")
def manual_chapter(name: str, request: Request) -> Response:
    """A page of the manual."""
    speak_as_known(request)
    if not any(name in part.names for part in PARTS):
        raise NotFound(_("The manual has no page of that name. Its contents list all pages."))
    one = chapter(name)
    view = ManualView(here=f"{MANUAL}/{name}", chapter=one, body=with_lists(one.html, tables(request.app.state.routes)))
    return page_answer(request, None, manual_page, view)
