"""The few bricks the drawings are made of: escaped SVG elements and an estimate of a text's width."""

from markupsafe import Markup, escape

Number = float | int


def tag(name: str, body: str = "", /, **attributes: str | Number | None) -> Markup:
    """One SVG element. `_` in a name becomes `-`, a trailing one is dropped (class_); numbers are cut to one decimal.

    Body that is not Markup is escaped; attributes always are.
    """
    said = "".join(
        f' {key.strip("_").replace("_", "-")}="{_value(v)}"' for key, v in attributes.items() if v is not None
    )
    whole = f"<{name}{said}>{escape(body)}</{name}>" if body else f"<{name}{said}/>"
    return Markup(whole)  # noqa: S704 - every value in it was escaped above


def _value(value: str | Number) -> str:
    if isinstance(value, str):
        return str(escape(value))
    return f"{value:.1f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def join(parts: list[Markup]) -> Markup:
    """The elements one after the other."""
    return Markup("").join(parts)


def text(x: float, y: float, body: str, class_: str = "", anchor: str | None = None) -> Markup:
    """A text; the class carries size and colour."""
    return tag("text", body, x=float(x), y=float(y), class_=class_ or None, text_anchor=anchor)


def width_of(body: str, size: float = 12.0) -> float:
    """About how wide a text is, px. Digits of the face are 0.65 em, letters less; spaces and narrow letters half."""
    return sum(
        size * (0.34 if c in " .,:;ilj|'()\u202f\u00a0" else 0.66 if c.isdigit() or c.isupper() else 0.58) for c in body
    )
