"""The forms of the pages: read what was typed, act, go on; or show what was refused beside the form, with what was typed."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from api.server.deps import Asking, must_be_own_form
from api.server.errors import STATUS
from scheduler.actions.base.context import Hand
from scheduler.errors import Refused, SchedulerError
from scheduler.language import gettext as _


@dataclass(frozen=True, slots=True, kw_only=True)
class FormState:
    """The fields of a form: what stands in each, what is wrong with it, and what is wrong as a whole (empty: nothing)."""

    values: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    says: str = ""

    @property
    def members(self) -> dict[str, Any]:
        """For a view that is a form's state itself."""
        return {"values": self.values, "faults": self.faults, "says": self.says}


@dataclass(frozen=True, slots=True)
class FormRefusal:
    """A form that was refused. faults: by the name of the field that each is about."""

    error: SchedulerError
    values: Mapping[str, str]
    faults: Mapping[str, str]

    @property
    def status(self) -> int:
        """Of the answer."""
        return STATUS[type(self.error)][0]

    @property
    def form_name(self) -> str:
        """Which of a page's forms it is: what it does, with the number of what it is about."""
        return f"{self.values.get('do', '')}{self.values.get('number', '')}"

    @property
    def state(self) -> FormState:
        """The form as it is drawn again; the sentence as a whole only where its fields do not say it all."""
        unplaced = [says for name, says in self.faults.items() if name not in self.values]
        says = sentences(unplaced) if self.faults else self.error.says
        return FormState(values=self.values, faults=self.faults, says=says)


def sentences(faults: Iterable[str]) -> str:
    """What is wrong, as sentences without the names of fields.

    >>> sentences(["this is empty", "1 to 5 are expected."])
    'This is empty. 1 to 5 are expected.'
    """
    return " ".join(f"{says[:1].upper()}{says[1:].rstrip('.')}." for says in faults)


@dataclass(frozen=True, slots=True)
class PageForm:
    """A form that a person sent from their own page. values: the text fields, without space around them."""

    request: Request
    who: Asking
    data: FormData
    values: Mapping[str, str]

    @classmethod
    def of(cls, request: Request, who: Asking, data: FormData) -> "PageForm":
        """Raises NotAllowed unless the form carries this session's token."""
        must_be_own_form(who, data.get("csrf"))
        values = {n: v.strip() for n, v in data.multi_items() if isinstance(v, str) and n != "csrf"}
        return cls(request, who, data, values)

    def __getitem__(self, name: str) -> str:
        """What was typed in a field; empty when it was not sent."""
        return self.values.get(name, "")

    def must_name_nobody(self, *fields: str) -> None:
        """Raises Refused where another's name was typed to sign or decide: only who sends a form does."""
        typed = [name for name in fields if self[name]]
        if typed:
            says = _("nobody signs for another: that person does, in the own sign-in or with the own key.")
            raise Refused(f"{typed[0]}: {says}")

    @property
    def version(self) -> int | None:
        """The version that the form was drawn with, as If-Match has it for the API."""
        text = self["version"].strip('"')
        return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None

    @property
    def number(self) -> int:
        """The number of what the form is about. Raises Refused when none was sent."""
        text = self["number"]
        if not (text.isascii() and text.isdigit() and len(text) < 10):
            raise Refused(_("number: a whole number is expected, such as 2."))
        return int(text)

    def hand(self, body: Any = None, *, key: str | None = None) -> Hand:
        """The hand action as asked. body: what is asked, without it all that was typed. key: instead of the form's own."""
        asked = {"route": f"POST {self.request.url.path}", "body": self.values if body is None else body}
        return Hand(self.who.actor, key or self["idempotency_key"], asked)

    async def act(
        self,
        do: Callable[[], str | Response],
        again: Callable[[FormRefusal], Response] | None = None,
        *,
        fields: Mapping[str, str] = MappingProxyType({}),
    ) -> Response:
        """Act, then see the page that `do` gives; when it is refused, `again` draws the form with what was typed (none: a form
        without fields, refused on a page of its own).

        Args:
            fields: the form's field by the JSON Pointer of a fault, or by its last part, where they have different names.
        """

        def act() -> Response:
            try:
                done = do()
            except SchedulerError as error:
                if again is None:
                    raise
                faults = {_field(pointer, fields): says for pointer, says in error.faults}
                return again(FormRefusal(error, self.values, faults))
            return RedirectResponse(done, 303) if isinstance(done, str) else done

        return await run_in_threadpool(act)


def _field(pointer: str, fields: Mapping[str, str]) -> str:
    name = pointer.rpartition("/")[2]
    return fields.get(pointer) or fields.get(name, name)


async def form_of(request: Request, who: Asking) -> PageForm:
    """The form in a request. Raises NotAllowed unless it is from this person's own page."""
    return PageForm.of(request, who, await request.form())
