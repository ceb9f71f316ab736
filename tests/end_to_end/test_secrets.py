"""A calendar address's secret is nowhere but in the answer that shows it: not in logs, tables, errors or exported files."""

import socket
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import httpx
import psycopg
import pytest

from api.server.app import open_context
from scheduler.actions.people import people
from scheduler.actions.vessel import changes
from scheduler.actions.vessel.document import VESSEL
from scheduler.clock import system_clock
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings
from seed_fleet.documents import vessel_document
from seed_fleet.running import Run
from seed_fleet.ships import PLOVER
from tests.cli.calling import good
from tests.end_to_end.test_actions import ME
from tests.storage.stores import kinds_where_required, ready_url


def dump(url: str) -> str:
    """Every row of every table as text; of an SQLite file also its bytes, write-ahead log, backups and all."""
    if url.startswith("sqlite"):
        path = Path(url.removeprefix("sqlite:///"))
        with sqlite3.connect(path) as connection:
            rows = "\n".join(connection.iterdump())
        connection.close()
        beside = (one for folder in path.parent.glob(f"{path.name}*") for one in (folder, *folder.rglob("*")))
        return rows + "".join(one.read_bytes().decode("latin-1") for one in beside if one.is_file())
    with psycopg.connect(url) as connection:
        tables = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        return "\n".join(str(connection.execute(f'SELECT * FROM "{name}"').fetchall()) for (name,) in tables)


@pytest.mark.long
@pytest.mark.parametrize("kind", kinds_where_required())
def test_no_log_table_error_or_export_holds_the_secret(kind: str, tmp_path: Path) -> None:
    """A real server's whole run, from making to withdrawal, with every kind of answer on the way."""
    with ready_url(kind, tmp_path) as url, socket.socket() as door:
        context = open_context(Settings(database=url))
        document = vessel_document(Run(PLOVER, 1, system_clock(), 0.02))
        changes.put_vessel(context, ME, VESSEL.validate_python(document), if_new=True)
        people.add_person(context, ME, person_id="c", name="C", rank="c", role=Role.CHIEF, vessel_id=PLOVER.vessel)
        key = people.add_key(context, ME, role=Role.CHIEF, label="c", vessel_id=PLOVER.vessel, person_id="c")
        context.db.close()
        door.bind(("127.0.0.1", 0))
        port = door.getsockname()[1]
        door.close()
        log = (tmp_path / "log").open("wb")
        server = subprocess.Popen(
            [sys.executable, "-m", "api", "--database", url, "serve", "--port", str(port)], stdout=log, stderr=log
        )
        try:
            told, secrets = _use(f"http://127.0.0.1:{port}", key, tmp_path)
        finally:
            server.terminate()
            server.wait(120)
            log.close()
        listed = good("--database", url, "feed", "list", "--json")
        exported = tmp_path / "history.jsonl"
        good("--database", url, "history", PLOVER.vessel, "--out", str(exported))
        logged = (tmp_path / "log").read_text()
        places = {"log": logged, "tables": dump(url), "list": listed, "export": exported.read_text(), **told}
    assert "/cal/***/plan.ics" in logged
    assert len(secrets) == 2
    for secret in (*secrets, key):
        assert [name for name, text in places.items() if secret in text or secret[:20] in text] == []


def _use(url: str, key: str, folder: Path) -> tuple[dict[str, str], list[str]]:
    """Every kind of answer but those that show the address: by name; and the secrets that were shown."""
    told = {}
    with httpx.Client(base_url=url, timeout=30, headers={"Authorization": f"Bearer {key}"}) as client:
        for _ in range(6000):  # a busy machine's server is waited for
            try:
                client.get("/livez")
                break
            except httpx.TransportError:
                time.sleep(0.05)
        made = client.post("/api/v1/feeds", json={"vessel": PLOVER.vessel, "alarms": True}).json()
        secret = made["address"].split("/")[4]
        path = f"/cal/{secret}/plan.ics"
        agent = {"User-Agent": f"reader of {url}{path}"}
        for name, method, where in (
            ("calendar", "GET", path),
            ("held", "GET", path),
            ("tasks", "GET", f"/cal/{secret}/tasks.ics"),
            ("another name", "GET", f"/cal/{secret}/other.ics"),
            ("folder", "GET", f"/cal/{secret}"),
            ("another method", "POST", path),
            ("as a query", "GET", f"/api/v1/history?vessel={PLOVER.vessel}"),
        ):
            answer = client.request(method, where, headers=agent)
            told[name] = f"{answer.status_code} {answer.headers} {answer.text}"
        told["page"] = client.get("/feeds", headers={"Accept": "text/html"}).text
        new = client.post(f"/api/v1/feeds/{made['id']}/rotate").json()["address"].split("/")[4]
        told["changed"] = client.get(path).text
        client.delete(f"/api/v1/feeds/{made['id']}")
        told["withdrawn"] = client.get(f"/cal/{new}/plan.ics").text
        told["addresses"] = client.get("/api/v1/feeds").text
        told["ready"] = client.get("/readyz").text
        told["export in CSV"] = client.get("/api/v1/history", params={"vessel": PLOVER.vessel, "format": "csv"}).text
    (folder / "told").write_text(str(told))
    assert "404" in told["another name"]
    assert "405" in told["another method"]
    return told, [secret, new]
