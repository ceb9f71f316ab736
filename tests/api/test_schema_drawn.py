"""Requests drawn from /openapi.json, by every role, on both databases: what is valid is taken, what is answered is described.

The requests are drawn by schemathesis. Ids are drawn as well, and then once more those of things that are there.
"""

import os
import re
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis import BaseSchema, Case, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.server.access import DOORS
from scheduler.domain.base.enums import Role
from tests.api.stage import Stage, staged
from tests.api.test_doors import JOB
from tests.storage.stores import kinds, ready_url

pytestmark = pytest.mark.long

CALLERS = (*Role, None)
THERE = {
    "vessel_id": "demo-plover",
    "plant_id": "plover-plant",
    "pump_id": "plover-pump-a",
    "counter_id": "plover-vp1-hours",
    "key": JOB,
    "number": 1,
}
REFUSED_AS_SENT = frozenset({400, 413, 415, 422, 428})
"""Said of the request itself; all else is said of who asks, of what is there, of how things stand."""
SENSE = re.compile(
    # instants, against now and one another
    r"still to come|this is past|is not later than|is not after|are not after|not over yet|a minimum is lowered for"
    r"|is before the stop|a last day that is not past"
    r"|ends before it begins|an end 1 hour to|within 1100 days|a whole hour|of another day|last done is known"
    # names and figures of the vessel's own document
    r"|is on no job sheet|each position once|^point: one of|The document is of|less than the highest minimum|it counts so"
    # one of two members
    r"|give the riser or the deck|either the figures|give the master's name|say who signs|Say why it is (refused|declined)"
    r"|nobody (signs|approves) for another"
    r"|leave the vessel out|belongs to one vessel|so there is no key with the role"
    r"|belongs to a person: say whose"
    # what stands in a file
    r"|picture is expected|a month is expected|Nothing was taken in|cells? (is|are) wrong"
)
"""What a schema cannot say."""
CHECKED = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
ZONES = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
INSTANTS = st.datetimes(datetime(1971, 1, 1), datetime(2198, 12, 31), timezones=ZONES).map(datetime.isoformat)  # noqa: DTZ001
NUMBERS = count(1)
EXAMPLES = int(os.environ.get("LEADLINE_TEST_DRAWN", "3"))


@pytest.fixture(scope="module", params=kinds())
def everywhere(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """The application on each database."""
    folder: Path = tmp_path_factory.mktemp("drawn")
    with ready_url(request.param, folder) as url, staged(folder, url=url) as stage:
        yield stage


def without_examples(said: Any) -> Any:
    """The document without the requests it has as examples, so that ids and bodies are drawn and none is a refused one."""
    if isinstance(said, list):
        return [without_examples(one) for one in said]
    if not isinstance(said, dict):
        return said
    return {
        name: without_examples(inner)
        for name, inner in said.items()
        if name != "examples" or not (isinstance(inner, dict) and inner.keys() <= {"good", "refused"})
    }


@pytest.fixture(scope="module")
def schema(everywhere: Stage) -> BaseSchema:
    """What /openapi.json describes."""
    schemathesis.openapi.format("date-time", INSTANTS)
    found = schemathesis.openapi.from_dict(without_examples(everywhere.client.get("/openapi.json").json()))
    found.config.update(base_url="http://testserver")
    return found


def answered(stage: Stage, case: Case, role: Role | None) -> Any:
    """The answer to the drawn request by a key of that role, under an Idempotency-Key of its own."""
    sent = case.as_transport_kwargs(base_url="http://testserver")
    headers = {name.lower(): value for name, value in dict(sent.pop("headers")).items()}
    sent.pop("cookies", None)
    if isinstance(sent.get("data"), bytes):
        sent["content"] = sent.pop("data")
    headers.pop("authorization", None)
    if "idempotency-key" in headers:
        headers["idempotency-key"] = f"{next(NUMBERS)}{headers['idempotency-key']}"[:100]
    if role is not None:
        headers["authorization"] = f"Bearer {stage.key(role)}"
    answer = stage.client.request(**sent, headers=headers, follow_redirects=False)
    stage.client.cookies.clear()
    return answer


WITHOUT_IDS = {
    ("PUT", "/api/v1/vessels/{vessel_id}"),
    ("GET", "/api/v1/history"),
    ("POST", "/api/v1/people"),
    ("POST", "/api/v1/keys"),
}
"""Doors whose sense is looked at before it is known whose thing it is about: a document, a period, a role and its vessel."""
FRAMES = "/api/v1/ships/{vessel_id}/changes"
"""Carries frames, which no schema describes: tests/office."""
DESCRIBED = sorted(
    (path, method)
    for method, path in DOORS
    if path.startswith(("/api/", "/cal/")) and method not in ("HEAD", "OPTIONS") and path != FRAMES
)


@pytest.mark.parametrize("there", [False, True], ids=["ids drawn", "ids of what is there"])
@pytest.mark.parametrize(("path", "method"), DESCRIBED, ids=[f"{method} {path}" for path, method in DESCRIBED])
def test_what_is_valid_is_taken_and_what_is_answered_is_described(
    everywhere: Stage, schema: BaseSchema, path: str, method: str, there: bool
) -> None:
    """No status, media type, header or member that is not declared; nothing valid refused but for what no schema can say."""
    operation = schema[path][method]
    known = {one.name: THERE[one.name] for one in operation.path_parameters if one.name in THERE} if there else None
    if there and not known:
        return
    drawn = operation.as_strategy(generation_mode=GenerationMode.POSITIVE, path_parameters=known)
    sense = there or (method, path) in WITHOUT_IDS

    @seed(1)
    @settings(
        max_examples=EXAMPLES,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=drawn)
    def holds(case: Case) -> None:
        for role in (Role.ADMIN, Role.CHIEF) if there else CALLERS:
            answer = answered(everywhere, case, role)
            case.validate_response(answer, checks=CHECKED)
            if answer.status_code in REFUSED_AS_SENT:
                says = answer.json()["detail"]
                assert sense, (role, case.body, case.query, says)
                assert SENSE.search(says), (role, case.body, case.query, says)

    holds()
