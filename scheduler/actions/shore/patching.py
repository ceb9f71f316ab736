"""A vessel document changed by a merge patch: the same at the office, which asks, and aboard, where it is stored."""

from typing import Any

from pydantic import ValidationError

from scheduler.actions.base.context import Context
from scheduler.actions.shore.arguments import ChangeDocument
from scheduler.actions.vessel.document import VESSEL, as_plain, document_of
from scheduler.domain.checks.document import faults_of
from scheduler.domain.shore.asking import foreign_members
from scheduler.domain.shore.merge_patch import apply_merge_patch, merge_patch_between
from scheduler.domain.vessel.differing import document_differences
from scheduler.domain.vessel.document import Vessel
from scheduler.errors import NotAllowed, Refused, Stale
from scheduler.language import gettext as _
from scheduler.wording.requests import not_of_office_words


def changed_document(vessel: Vessel, version: int, said: ChangeDocument) -> Vessel:
    """The document as the patch makes it.

    Raises:
        Stale: another version is there by now. Refused: the patched document cannot be read, makes no sense, or is the same.
        NotAllowed: it changes what the office does not ask for.
    """
    if said.version != version:
        raise Stale(
            _("The document is now version {now}, not {asked}.", now=version, asked=said.version),
            more={"version": version},
        )
    plain = as_plain(vessel)
    try:
        patched = VESSEL.validate_python(apply_merge_patch(plain, said.patch))
    except ValidationError as error:
        faults = [("/".join(("", *map(str, one["loc"]))), str(one["msg"])[:200]) for one in error.errors()[:20]]
        says = _("The changed document cannot be read: {at}: {fault}", at=faults[0][0], fault=faults[0][1])
        raise Refused(says, faults=faults) from error
    differences = document_differences(plain, as_plain(patched))
    if not differences:
        raise Refused(_("The document says that already: nothing would change."))
    foreign = foreign_members(differences)
    if foreign:
        raise NotAllowed(not_of_office_words(foreign))
    wrong = faults_of(patched)
    if wrong:
        raise Refused(_("The changed document makes no sense: {fault}", fault=wrong[0][1]), faults=wrong)
    return patched


def patch_to(context: Context, vessel_id: str, edited: Any) -> dict[str, Any]:
    """{"version", "patch"}: the merge patch that makes an edited document of the one of now. Raises NotFound; Refused where the edited
    one is another vessel's, or no document."""
    with context.db.read() as session:
        vessel, version = document_of(session, vessel_id)
    if not isinstance(edited, dict) or edited.get("id") != vessel_id:
        raise Refused(_("The document of {vessel} is expected, edited; this is another.", vessel=vessel_id))
    return {"version": version, "patch": merge_patch_between(as_plain(vessel), edited)}
