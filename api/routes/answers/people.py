"""Answers about people, where they are signed in, and keys."""

from typing import Annotated

from pydantic import Field

from api.routes.shared.shapes import AnswerModel, At, VesselId, z
from scheduler.actions.people.keys import KeyShown
from scheduler.actions.people.managing import PersonShown

PersonId = Annotated[str, Field(description="id of the person", examples=["second-plover"])]
KeyPrefix = Annotated[str, Field(description="the key's first letters, by which it is named", examples=["1a2b3c4d"])]


class SessionLine(AnswerModel):
    """Where somebody is signed in. proof: link, passphrase or PIN. link_by: who made the link, "" for none."""

    id: str
    proof: str
    link_by: str
    agent: Annotated[str, Field(description="the browser, as it calls itself")]
    computer: Annotated[str, Field(description='the shared computer, "" for another device')]
    since_at: At
    seen_at: At | None
    ends_at: At


class PersonAnswerLine(AnswerModel):
    """A person. vessel null: of the whole installation. sessions: of oneself and of people one manages, else empty."""

    id: PersonId
    vessel: VesselId | None
    name: str
    rank: str
    role: str
    added_at: At
    withdrawn_at: At | None
    passphrase_set_at: At | None
    has_pin: bool
    language: Annotated[str, Field(description="in which pages are shown to the person", examples=["en", "de"])]
    sessions: list[SessionLine]

    @classmethod
    def of(cls, one: PersonShown) -> "PersonAnswerLine":
        """From the list of people."""
        return cls(
            id=one.id,
            vessel=one.vessel_id or None,
            name=one.name,
            rank=one.rank,
            role=one.role.value,
            added_at=z(one.added_at),
            withdrawn_at=z(one.withdrawn_at),
            passphrase_set_at=z(one.passphrase_at),
            has_pin=one.has_pin,
            language=one.language,
            sessions=[
                SessionLine(
                    id=session.id,
                    proof=session.proof.value,
                    link_by=session.link_by,
                    agent=session.agent,
                    computer=session.computer,
                    since_at=z(session.since_at),
                    seen_at=z(session.seen_at),
                    ends_at=z(session.ends_at),
                )
                for session in one.sessions
            ],
        )


class PeopleAnswer(AnswerModel):
    """The people one can meet: of the own vessel and of the installation, or all."""

    people: list[PersonAnswerLine]


class PersonDoneAnswer(AnswerModel):
    """It is done; name, rank and role as they are now, where they were changed."""

    person: PersonId
    name: str | None = None
    rank: str | None = None
    role: str | None = None
    waits: Annotated[list[str] | None, Field(description="of one withdrawn: what still waits in that name")] = None
    says: Annotated[str | None, Field(description="the same as a sentence")] = None


class SignInLinkAnswer(AnswerModel):
    """A link that signs the person in once; shown this once."""

    link: str
    expires_at: At


class SessionEndedAnswer(AnswerModel):
    """The session is over."""

    session: str


class KeyLine(AnswerModel):
    """A key without its secret. vessel null: every vessel; person null: a program's own. follows: the key it takes over from."""

    key: KeyPrefix
    label: str
    role: str
    vessel: VesselId | None
    person: PersonId | None
    person_name: str | None
    made_at: At
    made_by: str
    last_used_at: At | None
    expires_at: At | None
    withdrawn_at: At | None
    follows: KeyPrefix | None
    state: Annotated[str, Field(description="good, withdrawn or run out")]

    @classmethod
    def of(cls, one: KeyShown) -> "KeyLine":
        """From the list of keys."""
        return cls(
            key=one.prefix,
            label=one.label,
            role=one.role.value,
            vessel=one.vessel_id,
            person=one.person_id,
            person_name=one.person,
            made_at=z(one.made_at),
            made_by=one.made_by,
            last_used_at=z(one.last_used_at),
            expires_at=z(one.expires_at),
            withdrawn_at=z(one.revoked_at),
            follows=one.follows,
            state=one.state,
        )


class KeysAnswer(AnswerModel):
    """Own keys and those one manages, oldest first."""

    keys: list[KeyLine]


class KeyOnceAnswer(AnswerModel):
    """A key, shown this once; only its hash is kept."""

    key: str


class KeyWithdrawnAnswer(AnswerModel):
    """The key is good no more."""

    key: KeyPrefix
    state: str
