"""A hand action as it comes by API: who asks, what is asked, and how the action's answer goes out."""

from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Request, Response
from pydantic import BaseModel

from api.routes.shared.describing import Conditions
from api.routes.shared.shapes import AnswerModel
from api.server.deps import Asking, AskingDep, ContextDep, hand_of, version_in
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Answer, Context, Hand
from scheduler.actions.vessel import fleet
from scheduler.storage.vessel import AssetKind

AnyAnswer = TypeVar("AnyAnswer", bound=AnswerModel)


@dataclass(frozen=True, slots=True)
class HandCall:
    """One request for a hand action."""

    context: Context
    who: Asking
    request: Request
    response: Response

    @property
    def actor(self) -> Actor:
        """Who asks."""
        return self.who.actor

    def place(self, kind: AssetKind, asset_id: str) -> fleet.Place:
        """Where that thing is. Raises NotFound."""
        return fleet.locate(self.context, self.actor, asset_id, kind)

    def must_reach_vessel(self, vessel_id: str) -> None:
        """Raises NotFound when there is no such vessel for who asks."""
        fleet.get_vessel(self.context, self.actor, vessel_id)

    def hand(self, asked: BaseModel | Any) -> Hand:
        """The hand action as asked: a body, or plain JSON values where there is none."""
        return hand_of(self.request, self.who, asked.model_dump(mode="json") if isinstance(asked, BaseModel) else asked)

    def version(self) -> int | None:
        """The version in If-Match, or none. Raises BadRequest."""
        return version_in(self.request)

    def answered(self, model: type[AnyAnswer], answer: Answer, *, etag: bool = False, **more: object) -> AnyAnswer:
        """What the action answers, with its status, and its version as ETag; members that were left out stay out."""
        self.response.status_code = answer.status
        if etag:
            self.response.headers["ETag"] = f'"{answer.body["version"]}"'
        return model.model_validate({**answer.body, **more})


def _hand_call(context: ContextDep, who: AskingDep, request: Request, response: Response) -> HandCall:
    return HandCall(context, who, request, response)


HandCallDep = Annotated[HandCall, Depends(_hand_call), Conditions()]
"""Done once under its Idempotency-Key."""
SeenCallDep = Annotated[HandCall, Depends(_hand_call), Conditions(if_match="optional")]
"""The same, and refused where If-Match names a state that has gone on."""
MatchedCallDep = Annotated[HandCall, Depends(_hand_call), Conditions(if_match="needed")]
"""The same, and the state that was looked at has to be named."""
OnceCallDep = Annotated[HandCall, Depends(_hand_call), Conditions(key="optional")]
"""Makes what is shown this once: with an Idempotency-Key it is made once, and a repetition is refused."""
ReplacingCallDep = Annotated[HandCall, Depends(_hand_call), Conditions(key="optional", if_match="needed")]
"""Done once because a version is replaced once; with an Idempotency-Key the answer is kept as well."""
