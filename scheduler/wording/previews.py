"""How readings that are not stored yet fit, in words, and what was likely meant where they do not."""

from collections.abc import Mapping, Sequence

from scheduler.domain.hours.preview import ReadingFit, ReadingPreview, SlipKind
from scheduler.language import gettext as _
from scheduler.language import marked, ngettext
from scheduler.wording.figures import count_words, inner
from scheduler.wording.hours import counts_words, hours_text, unit_name


def preview_words(one: ReadingPreview, seconds_per_count: int) -> str:
    """How a value that is not stored yet fits, with what was likely meant where it does not."""
    said = _(_PREVIEWS[one.fit]) if _PREVIEWS[one.fit] else ""
    if one.fit is ReadingFit.REFUSED:
        return one.why
    if one.fit is ReadingFit.CONFLICT:
        return said.format(stands=counts_words(one.stands or 0))
    if one.fit is ReadingFit.UNUSUAL:
        usual_s = one.elapsed_s * one.usual_s_per_day / 86_400
        said = said.format(more=hours_text(round((one.credit_s or 0) - usual_s)))
    slip = one.slip
    if slip is None:
        return said
    if slip.kind is SlipKind.MISSING:  # which one is not known: no figure is offered to be copied
        return f"{said} {_(_SLIPS[slip.kind])}"
    meant = _("{counts} would be {hours}.", counts=counts_words(slip.milli), hours=hours_text(slip.credit_s))
    return f"{said} {_(_SLIPS[slip.kind]).format(unit=unit_name(seconds_per_count))} {meant}"


def preview_pick(fit: ReadingFit) -> str:
    """What a person says to have a value stored that does not fit; empty where it is stored anyway, or cannot be."""
    return _(_PICKS[fit]) if fit in _PICKS else ""


def previews_words(previews: Sequence[ReadingPreview], unread: int) -> str:
    """All of them in a sentence: how many do not fit, how many run far more than usual.

    Args:
        unread: figures that could not be read, not among the previews.
    """
    many = len(previews) + unread
    odd = sum(one.fit is ReadingFit.UNUSUAL for one in previews)
    bad = unread + sum(not one.taken for one in previews) - odd
    if not bad and not odd:
        return _("The reading fits.") if many == 1 else _("All {count} fit.", count=inner(count_words(many, "", "")))
    parts = []
    if bad:
        of = inner(count_words(many, "", ""))
        if many == 1:
            parts.append(_("the reading does not fit"))
        elif bad == many:
            parts.append(_("none of {all} fits", all=of))
        else:
            some = inner(count_words(bad, "", ""))
            parts.append(
                ngettext("{count} of {all} does not fit", "{count} of {all} do not fit", bad, count=some, all=of)
            )
    if odd:
        some = inner(count_words(odd, "", ""))
        parts.append(ngettext("{count} is far more than usual", "{count} are far more than usual", odd, count=some))
    said = ", ".join(parts)
    return f"{said[:1].upper()}{said[1:]}."


_SLIPS: Mapping[SlipKind, str] = {
    SlipKind.DIGIT: marked("One digit misread?"),
    SlipKind.SWAPPED: marked("Two digits changed round?"),
    SlipKind.MISSING: marked("A digit missing?"),
    SlipKind.EXTRA: marked("A digit too many?"),
    SlipKind.UNIT: marked("Typed in hours? It counts {unit}:"),
}
_PREVIEWS: Mapping[ReadingFit, str] = {
    ReadingFit.FITS: marked("Fits."),
    ReadingFit.FIRST: marked("The first reading: counted from here."),
    ReadingFit.STEP_BACK: marked("One step back: stored, nothing counted."),
    ReadingFit.ROLLED_OVER: marked("Rolled over: counted on."),
    ReadingFit.KNOWN: marked("Known already, the same value."),
    ReadingFit.UNUSUAL: marked("{more} more than usual in that time."),
    ReadingFit.TOO_MUCH: marked("More than can have run since."),
    ReadingFit.LESS: marked("Less than before."),
    ReadingFit.STARTED_AGAIN: marked("Far less than before, as if it had started again from 0."),
    ReadingFit.FOLLOWS_HELD: marked("Follows from a reading that is held; Hours asks about that one first."),
    ReadingFit.ERRATIC: marked("Follows from nothing read before; much is held already."),
    ReadingFit.SPOILS_LATER: marked("What was read later does not follow from it."),
    ReadingFit.CONFLICT: marked("{stands} is stored for this minute and stays. Read it again now, and give the time."),
    ReadingFit.REFUSED: "",
}
_HOLD = marked("Store it all the same; it is held, and Hours asks what happened")
_PICKS: Mapping[ReadingFit, str] = {
    ReadingFit.UNUSUAL: marked("It did run so"),
    ReadingFit.TOO_MUCH: _HOLD,
    ReadingFit.LESS: _HOLD,
    ReadingFit.ERRATIC: _HOLD,
    ReadingFit.FOLLOWS_HELD: _HOLD,
    ReadingFit.STARTED_AGAIN: marked("It did start again"),
    ReadingFit.SPOILS_LATER: marked("Store it all the same; the later ones are held, and Hours asks"),
}
