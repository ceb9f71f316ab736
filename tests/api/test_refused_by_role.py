"""Who may not do something is told in plain words what it is and which role it takes."""

from scheduler.domain.base.enums import Role
from tests.api.stage import Stage


def test_a_role_that_may_not_is_told_what_and_which_role_may(stage: Stage) -> None:
    """By what the door does, not by its method and path."""
    told = stage.ask("POST", "/api/v1/vessels/demo-plover/reviews", role=Role.ENGINEER, json={"month": "2026-10"})
    assert told.status_code == 403
    assert (
        told.json()["detail"]
        == "The role engineer may not do this: “Sign the review of a month”. It takes the role chief."
    )
    told = stage.ask("GET", "/api/v1/plants/plover-plant/due", role=Role.COUNTER)
    assert told.json()["detail"] == (
        "The role counter may not see “Due jobs of a plant”. It takes the role admin, chief, chief officer, "
        "engineer, hotel, master or office."
    )


def test_a_page_is_named_as_a_page(stage: Stage) -> None:
    """Pages have no summary; a form is done, a page opened."""
    told = stage.ask("GET", "/plants/plover-plant", role=Role.COUNTER)
    assert "may not open this page." in told.json()["detail"]
