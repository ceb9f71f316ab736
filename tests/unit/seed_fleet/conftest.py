"""One unwell server for all tests of this folder, well again before each."""

from collections.abc import Iterator

import pytest

from tests.unit.seed_fleet.unwell import Unwell, serving


@pytest.fixture(scope="package")
def one_server() -> Iterator[Unwell]:
    with serving() as unwell:
        yield unwell


@pytest.fixture
def server(one_server: Unwell) -> Unwell:
    one_server.recover()
    return one_server
