"""JSON merge patches against the test cases of RFC 7396, appendix A, and its example in section 3."""

import json

import pytest

from scheduler.domain.shore.merge_patch import apply_merge_patch

CASES = (
    ('{"a":"b"}', '{"a":"c"}', '{"a":"c"}'),
    ('{"a":"b"}', '{"b":"c"}', '{"a":"b","b":"c"}'),
    ('{"a":"b"}', '{"a":null}', "{}"),
    ('{"a":"b","b":"c"}', '{"a":null}', '{"b":"c"}'),
    ('{"a":["b"]}', '{"a":"c"}', '{"a":"c"}'),
    ('{"a":"c"}', '{"a":["b"]}', '{"a":["b"]}'),
    ('{"a":{"b":"c"}}', '{"a":{"b":"d","c":null}}', '{"a":{"b":"d"}}'),
    ('{"a":[{"b":"c"}]}', '{"a":[1]}', '{"a":[1]}'),
    ('["a","b"]', '["c","d"]', '["c","d"]'),
    ('{"a":"b"}', '["c"]', '["c"]'),
    ('{"a":"foo"}', "null", "null"),
    ('{"a":"foo"}', '"bar"', '"bar"'),
    ('{"e":null}', '{"a":1}', '{"e":null,"a":1}'),
    ("[1,2]", '{"a":"b","c":null}', '{"a":"b"}'),
    ("{}", '{"a":{"bb":{"ccc":null}}}', '{"a":{"bb":{}}}'),
)
"""Original, patch, result: the 15 rows of appendix A."""
EXAMPLE = (
    '{"title":"Goodbye!","author":{"givenName":"John","familyName":"Doe"},"tags":["example","sample"],"content":"This will be '
    'unchanged"}',
    '{"title":"Hello!","phoneNumber":"+01-123-456-7890","author":{"familyName":null},"tags":["example"]}',
    '{"title":"Hello!","author":{"givenName":"John"},"tags":["example"],"content":"This will be unchanged","phoneNumber":'
    '"+01-123-456-7890"}',
)
"""The example of section 3."""


@pytest.mark.parametrize(("original", "patch", "result"), [*CASES, EXAMPLE])
def test_each_case_of_the_rfc(original: str, patch: str, result: str) -> None:
    """RFC 7396, appendix A and section 3: the patch makes the result of the original, and leaves the original as it was."""
    target = json.loads(original)
    assert apply_merge_patch(target, json.loads(patch)) == json.loads(result)
    assert target == json.loads(original)
