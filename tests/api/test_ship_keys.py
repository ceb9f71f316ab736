"""Keys of ships' own servers: nobody's, two at a time, made by the office alone."""

import pytest

from api.server.access import DOORS, NoRole
from scheduler.domain.base.enums import Role
from tests.api.stage import Stage


def _made(stage: Stage, role: Role, vessel: str, **more: str) -> tuple[int, str]:
    asked = {"role": "ship", "label": "her server", "vessel": vessel, **more}
    answer = stage.ask("POST", "/api/v1/keys", role=role, json=asked)
    return answer.status_code, answer.text


def test_a_ship_has_two_keys_at_most(stage: Stage) -> None:
    """A third is refused with the two named; once one is withdrawn there may be another. The ship need not be here yet."""
    for _ in range(2):
        assert _made(stage, Role.OFFICE, "demo-dunlin")[0] == 201
    status, says = _made(stage, Role.OFFICE, "demo-dunlin")
    listed = stage.ask("GET", "/api/v1/keys", role=Role.OFFICE).json()["keys"]
    good = [one["key"] for one in listed if one["vessel"] == "demo-dunlin" and one["state"] == "good"]
    assert status == 409
    assert all(prefix in says for prefix in good)
    assert len(good) == 2
    assert stage.ask("DELETE", f"/api/v1/keys/{good[0]}", role=Role.OFFICE).status_code in (200, 204)
    assert _made(stage, Role.OFFICE, "demo-dunlin")[0] == 201


@pytest.mark.parametrize("role", [Role.CHIEF, Role.MASTER])
def test_nobody_aboard_makes_a_ships_key(stage: Stage, role: Role) -> None:
    """It is the office's word that a server is that ship's."""
    assert _made(stage, role, "demo-plover")[0] == 403


def test_a_ships_key_is_nobodys(stage: Stage) -> None:
    """It belongs to no person, and a vessel id is asked for."""
    assert _made(stage, Role.OFFICE, "demo-plover", person="chief-plover")[0] == 422
    assert _made(stage, Role.OFFICE, "Demo Plover")[0] == 422


def test_a_ships_key_passes_no_door_of_people() -> None:
    """Wherever a person or a counter passes it does not."""
    for passes in DOORS.values():
        assert isinstance(passes, NoRole) or Role.SHIP not in passes or passes == {Role.SHIP}
