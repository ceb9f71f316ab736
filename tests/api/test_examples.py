"""The examples of /openapi.json are true: each good one is taken, each refused one refused, with the words that stand there."""

from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from api.routes.shared.examples import examples
from seed_fleet.ships import PLOVER
from tests.api.example_story import STORY, Found, Sending, as_example, told_in_order
from tests.api.stage import Stage, staged
from tests.frozen.kept import members

OF_THE_RUN = {"token", "feed_id", "event_id", "session_id", "prefix"}
"""Values of one run alone; everything else is sent as the example has it."""


@pytest.fixture(scope="module")
def happened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Stage, list[Sending]]]:
    """The story, told once."""
    with staged(tmp_path_factory.mktemp("examples"), (PLOVER,)) as stage:
        yield stage, list(told_in_order(stage))


@pytest.mark.long
def test_every_operation_has_one_good_and_one_refused_example(stage: Stage) -> None:
    """In the document itself: its answer at its status, its values at parameters and body."""
    document = stage.ask("GET", "/openapi.json", role=None).json()
    for path, operations in document["paths"].items():
        for operation in operations.values():
            door = operation["operationId"]
            for name, sent in examples()[door].items():
                assert (sent["status"] < 400) == (name == "good"), (door, name)
                content = operation["responses"][str(sent["status"])]["content"]
                assert sent["media"].partition(";")[0] in {form.partition(";")[0] for form in content}, (door, name)
                if "answer" in sent:
                    assert content[sent["media"]]["examples"][name]["value"] == sent["answer"]
                for parameter in operation.get("parameters", ()):
                    if parameter["in"] == "path":
                        assert parameter["examples"][name]["value"] == sent["parameters"][parameter["name"]], path
                if "body" in sent:
                    forms = operation["requestBody"]["content"].values()
                    assert all(form["examples"][name]["value"] == sent["body"] for form in forms)
            assert examples()[door].keys() == {"good", "refused"}, door


@pytest.mark.long
def test_each_example_is_answered_as_it_says(happened: tuple[Stage, list[Sending]]) -> None:
    """Sent again: status and media type; every member of a good answer, with its kind; a problem word for word."""
    _, sendings = happened
    assert {one.door for one in sendings} == examples().keys()
    given_by = {act.door: act for act in STORY}
    for one in sendings:
        kept, found = examples()[one.door][one.name], as_example(one)
        where = f"{one.door}, {one.name}"
        assert (found["status"], found["media"]) == (kept["status"], kept["media"]), where
        sent = given_by[one.door].good if one.name == "good" else given_by[one.door].refused
        found_anew = (
            ()
            if sent is None or not isinstance(sent.body, Mapping)
            else (name for name, value in sent.body.items() if isinstance(value, Found))
        )
        anew = set(found_anew) | OF_THE_RUN
        assert without(found["parameters"], anew) == without(kept["parameters"], anew), where
        if not (sent is not None and isinstance(sent.body, Found)):
            assert without(found.get("body"), anew) == without(kept.get("body"), anew), where
        if one.name == "refused" and "answer" in kept:
            assert without(found["answer"], {"instance"}) == without(kept["answer"], {"instance"}), where
        elif "answer" in kept:
            assert set(members(kept["answer"])) <= set(members(one.answer.json())), where


def without(value: Any, names: set[str]) -> Any:
    """The members of a JSON object but those."""
    return {name: inner for name, inner in value.items() if name not in names} if isinstance(value, dict) else value
