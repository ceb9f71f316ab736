"""What a server leaves for the command line that works on the same database: the address people reach it by."""

from scheduler.actions.base.context import Context
from scheduler.storage.base import remember, remembered
from scheduler.storage.database import INSTALLATION, Database

_BASE_URL = "base_url"


def keep_base_url(context: Context) -> None:
    """Remember the address of the server that starts; one without an address leaves what is remembered."""
    found = context.settings.shown_base_url()
    if found and base_url(context.db) != found:
        with context.db.write(INSTALLATION) as session:
            remember(session, _BASE_URL, found)


def base_url(database: Database) -> str:
    """The address that the server of this database was reached by last, empty when none has run yet."""
    with database.read() as session:
        return remembered(session, _BASE_URL)
