"""Posts from the buffer to the server, one batch at a time."""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import httpx

from api.gateway import pacing
from api.gateway.buffer import Buffer
from api.gateway.reading import read_seconds, utc_text_of
from api.gateway.settings import GatewaySettings
from scheduler.clock import Clock
from scheduler.errors import Refused

TIMEOUT = httpx.Timeout(20.0, connect=5.0)


class PostFailure(NamedTuple):
    """Why a post brought nothing. asked: seconds the server asked to wait, none when it did not."""

    says: str
    asked: float | None = None


class Sent(NamedTuple):
    """What one post brought. more: readings wait still. skew: the server's words when this clock is off."""

    taken: int = 0
    aside: int = 0
    more: bool = False
    trouble: PostFailure | None = None
    skew: str | None = None


def read_key(settings: GatewaySettings, environment: Mapping[str, str] = os.environ) -> str:
    """The counter key: from key_file, else from LEADLINE_KEY. Raises Refused when there is none, or it cannot be one."""
    if settings.key_file is None:
        key, where = environment.get("LEADLINE_KEY", "").strip(), "LEADLINE_KEY"
        if not key:
            raise Refused(
                f'No counter key: set "key_file" in {settings.file}, or LEADLINE_KEY. '
                "Make one on the server: leadline key add counter --vessel ..."
            )
    else:
        where = f"The file {settings.key_file}"
        try:
            key = settings.key_file.read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as error:
            why = error.strerror if isinstance(error, OSError) else "it is not text"
            raise Refused(f'{where} ("key_file") cannot be read: {why}.') from error
    if not key.isascii() or not key.isprintable() or " " in key or not key:
        raise Refused(f"{where} holds no key: one word that begins with ll_ is expected.")
    return key


def client_for(settings: GatewaySettings, key: str) -> httpx.Client:
    """A client for the server; Refused when its address is none. Proxies of the environment are not used: it is aboard."""
    headers = {"Authorization": f"Bearer {key}"}
    try:
        # Idle connections end before the server ends them, so that none is used as it goes.
        limits = httpx.Limits(keepalive_expiry=1)
        return httpx.Client(base_url=settings.server, headers=headers, timeout=TIMEOUT, limits=limits, trust_env=False)
    except httpx.InvalidURL as error:
        raise Refused(f'"server" in {settings.file} is "{settings.server}": {error}.') from error


@dataclass(slots=True)
class Sender:
    """Posts batches and settles the buffer by the answers.

    Args:
        client: its base URL is the server, its headers carry the key.
        clock: gives the sending instant.
    """

    client: httpx.Client
    buffer: Buffer
    clock: Clock
    most_items: int = field(default=pacing.MOST_ITEMS)

    def send_one(self) -> Sent:
        """Post one batch from the front of the queue. Raises StorageFull or another error of the buffer's."""
        batch = pacing.cut(self.buffer.front(self.most_items), self.most_items)
        if not batch:
            return Sent()
        try:
            answer = self.client.post(
                "/api/v1/readings",
                content=pacing.post_body(batch, utc_text_of(read_seconds(self.clock()))),
                headers={"Content-Type": "application/json"},
            )
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            why = str(error) or type(error).__name__
            return Sent(more=True, trouble=PostFailure(f"The server {self.client.base_url} does not answer: {why}."))
        if answer.status_code == 413 and len(batch) > 1:
            self.most_items = len(batch) // 2
            return Sent(more=True)
        if answer.status_code != 207:
            asked = pacing.asked_seconds(answer.headers.get("Retry-After"), self.clock())
            return Sent(more=True, trouble=PostFailure(_refusal(answer), asked))
        told = _json(answer)
        listed = pacing.sort_answer(batch, told)
        self.buffer.settle(listed.taken, listed.aside, read_seconds(self.clock()))
        trouble = None
        if not listed.taken and not listed.aside:
            trouble = PostFailure(
                "The server's answer lists none of the readings sent. See that the address is the server's."
            )
        self.most_items = pacing.MOST_ITEMS
        says = told.get("says") if isinstance(told, dict) else None
        more = self.buffer.any_waiting()
        return Sent(len(listed.taken), len(listed.aside), more, trouble, says if isinstance(says, str) else None)


def _refusal(answer: httpx.Response) -> str:
    problem = _json(answer)
    said = answer.reason_phrase
    if isinstance(problem, dict):
        said = str(problem.get("detail") or problem.get("title") or said)
    hint = {401: " Check the counter key.", 403: " Check the counter key.", 404: ' Check "server".'}
    what = f"The server answers {answer.status_code} {said[:300].rstrip('.')}.{hint.get(answer.status_code, '')}"
    return f"{what} Nothing was deleted from the buffer."


def _json(answer: httpx.Response) -> object:
    try:
        told: object = json.loads(answer.content)
    except (ValueError, RecursionError):
        return None
    return told
