"""A new calendar address as people are shown it, once; and the honest words that go with it on page and command."""

from dataclasses import asdict, dataclass
from typing import Any

from api.routes.shared.shapes import z
from scheduler.actions.feed.addresses import Address, Made
from scheduler.errors import Refused
from scheduler.language import gettext as _
from scheduler.language import marked

LONGEST = 256
"""Letters of a whole address that every calendar program is known to take."""
_PATH = "/cal/{secret}/{name}.ics"
_SECRET_LETTERS = 43


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressShown:
    """The addresses of one secret: events and tasks, each by http(s) and as webcal."""

    id: str
    address: str
    webcal: str
    tasks: str
    webcal_tasks: str

    def as_json(self) -> dict[str, Any]:
        """As the API answers it."""
        return asdict(self)


def must_fit(base_url: str) -> None:
    """Raises Refused when an address below `base_url` would be longer than programs take; ask before making one."""
    letters = len(base_url) + len(_PATH.format(secret="x" * _SECRET_LETTERS, name="tasks"))
    if letters > LONGEST:
        raise Refused(
            _(
                "A calendar address would have {letters} letters; some programs take {longest} at most. Give "
                'the server a shorter name in the setting "base_url".',
                letters=letters,
                longest=LONGEST,
            )
        )


def address_shown(base_url: str, made: Made) -> AddressShown:
    """The addresses of a secret. webcal opens the subscription of a calendar program and is fetched by http or https."""
    plan, tasks = (base_url + _PATH.format(secret=made.secret, name=name) for name in ("plan", "tasks"))
    return AddressShown(id=made.id, address=plan, webcal=_webcal(plan), tasks=tasks, webcal_tasks=_webcal(tasks))


def _webcal(address: str) -> str:
    return f"webcal://{address.partition('://')[2]}"


def address_json(one: Address) -> dict[str, Any]:
    """An address without its secret, as the API answers it."""
    return {
        "id": one.id,
        "person": one.person_id,
        "vessel": one.vessel_id,
        "label": one.label,
        "alarms": one.alarms,
        "alarm_hour": one.alarm_hour if one.alarms else None,
        "days_ahead": one.days_ahead,
        "kinds": one.kinds,
        "state": one.state,
        "made_at": z(one.made_at),
        "expires_at": z(one.expires_at),
        "withdrawn_at": z(one.revoked_at),
        "last_used_at": z(one.last_used_at),
        "agent": one.agent,
    }


KEEP = (
    marked("It is shown this once; only its hash is kept."),
    marked("Whoever has the address can read the calendar. Keep it to yourself; if it got out, change it."),
)
REFRESH = (
    marked("Subscribe to the address. An imported file is a copy that never changes again."),
    marked(
        "The program decides when it looks: mostly every 15 minutes to once a day, on phones often only "
        "when charging or when the calendar is opened. Most let you choose; ask for every hour."
    ),
    marked("It is no alarm. What is past its limit has to reach you another way: look at the plant page."),
)


def address_is_local(base_url: str) -> tuple[str, ...]:
    """What works aboard, honestly, for a server people reach at `base_url`."""
    said = [
        _(
            "A program on this computer network fetches it, with or without the internet, as long as it "
            "reaches this server."
        ),
        _(
            "A calendar kept by a provider on the internet cannot: the provider fetches it, and does not "
            "reach a ship's own network. Use a program that fetches by itself, or the office's server."
        ),
        _("The tasks address is for programs that keep lists of tasks. Most calendar programs show none of it."),
    ]
    if not base_url.startswith("https:"):
        said.insert(
            1,
            _(
                "This server is reached by plain http. Some phones refuse calendars without https; then use a "
                "computer aboard."
            ),
        )
    return tuple(said)
