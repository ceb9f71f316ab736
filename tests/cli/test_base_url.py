"""The address a server is reached by is remembered in its database, so that links made beside it lead there."""

from pathlib import Path

from starlette.testclient import TestClient

from api.server.app import make_app
from scheduler.settings import Settings
from tests.cli.calling import good
from tests.cli.conftest import Ship


def served(database: str, **settings: object) -> None:
    """A server on the database, started and ended."""
    with TestClient(make_app(Settings(database=database, **settings), timers=False)):  # type: ignore[arg-type]
        pass


def test_links_lead_where_the_server_was_reached(ship: Ship, tmp_path: Path) -> None:
    """Chosen for the server alone; by the command line afterwards; what is chosen there counts before."""
    good(*ship.words("key", "person", "second", "--name", "B", "--role", "engineer", "--vessel", "demo-plover"))
    assert good(*ship.words("key", "link", "second")).startswith("http://127.0.0.1:8322/enter/")
    served(ship.database, base_url="http://leadline.lan:9000")
    assert good(*ship.words("key", "link", "second")).startswith("http://leadline.lan:9000/enter/")
    assert "http://leadline.lan:9000/cal/" in good(*ship.words("feed", "second", "demo-plover"))
    chosen = good(*ship.words("key", "link", "second"), LEADLINE_BASE_URL="http://other.lan")
    assert chosen.startswith("http://other.lan/enter/")
    served(ship.database, host="0.0.0.0")  # no address of its own: what is remembered stays
    assert good(*ship.words("key", "link", "second")).startswith("http://leadline.lan:9000/enter/")
    served(ship.database, port=8991)
    assert good(*ship.words("key", "link", "second")).startswith("http://127.0.0.1:8991/enter/")
