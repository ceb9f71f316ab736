"""The examples of /openapi.json: one good and one refused request for every door, with what was answered.

They were sent: `tests/api/example_story.py` sends them, stores them here, and a test sends them again.
"""

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

EXAMPLES_FILE = Path(__file__).with_name("examples.json")


@cache
def examples() -> Mapping[str, Mapping[str, Mapping[str, Any]]]:
    """By door and by `good` or `refused`: the parameters, the body where there is one, status, media type and answer."""
    found: dict[str, dict[str, dict[str, Any]]] = json.loads(EXAMPLES_FILE.read_text())
    return found


def add_examples(document: dict[str, Any]) -> None:
    """Puts each example where OpenAPI has a place for it: at parameters, at bodies, at the answer of its status."""
    for operations in document["paths"].values():
        for operation in operations.values():
            for name, sent in examples().get(operation["operationId"], {}).items():
                _add(operation, name, sent)


def _add(operation: dict[str, Any], name: str, sent: Mapping[str, Any]) -> None:
    for parameter in operation.get("parameters", ()):
        if parameter["name"] in sent["parameters"]:
            parameter.setdefault("examples", {})[name] = {"value": sent["parameters"][parameter["name"]]}
    if "body" in sent:
        for form in operation["requestBody"]["content"].values():
            form.pop("example", None)
            form.setdefault("examples", {})[name] = {"value": sent["body"]}
    if "answer" in sent:
        content = operation["responses"][str(sent["status"])]["content"][sent["media"]]
        content.setdefault("examples", {})[name] = {"value": sent["answer"]}
