"""A page of the manual beside its contents, the contents alone, and what was found in it."""

from dataclasses import dataclass

from api.pages.manual.chapters import PARTS, Chapter, ManualPart, chapter, part_of
from api.pages.shared.frame import Frame, Link
from api.pages.shared.help import MANUAL
from api.pages.shared.layout import render
from scheduler.language import gettext as _


@dataclass(frozen=True, slots=True, kw_only=True)
class ManualView:
    """A page of the manual. chapter none: the contents, or, with `find`, the pages found with a piece of each."""

    here: str
    chapter: Chapter | None = None
    body: str = ""
    find: str = ""
    found: tuple[tuple[Chapter, str], ...] = ()

    @property
    def part(self) -> ManualPart | None:
        """The part that the page stands in."""
        return part_of(self.chapter.name) if self.chapter else None

    @property
    def place(self) -> str:
        """Such as "2 of 5"; empty for the contents."""
        if not self.chapter or not self.part:
            return ""
        return _("{number} of {total}", number=self.part.names.index(self.chapter.name) + 1, total=len(self.part.names))

    @property
    def around(self) -> tuple[Chapter | None, Chapter | None]:
        """The page before and the one after it, none at the ends of the part."""
        if not self.chapter or not self.part:
            return None, None
        at = self.part.names.index(self.chapter.name)
        before, after = self.part.names[:at][-1:], self.part.names[at + 1 :][:1]
        return (chapter(before[0]) if before else None), (chapter(after[0]) if after else None)


def manual_page(view: ManualView, *, light: str, csrf: str) -> str:
    """The page, with the contents beside it."""
    title = view.chapter.title if view.chapter else _("Found: {words}", words=view.find) if view.find else _("Contents")
    frame = Frame(
        title=_("{title} · Manual · Leadline", title=title),
        here=view.here,
        subtitle=_("Manual"),
        links=(Link(label=_("To the ship"), href="/"), Link(label=_("Manual"), href=MANUAL, current=not view.chapter)),
    )
    return render("manual.html", frame, light, csrf, view=view, parts=PARTS, chapter=chapter, manual=MANUAL)
