"""Pictures of work, drawn by code: a pump's end seen open, as a phone might take it. Nothing real is shown."""

import io
import math
import random

from PIL import Image, ImageDraw, ImageFilter

SIZE = (800, 600)
_GREYS = ((64, 66, 68), (92, 94, 96), (118, 119, 118), (150, 150, 147), (181, 180, 175))
_RUST, _CLOTH = ((112, 72, 48), (134, 90, 58), (96, 60, 42)), ((70, 96, 126), (150, 142, 122), (122, 64, 60))


def drawn_photo(seed: str) -> bytes:
    """A JPEG; equal seeds give equal pictures. A housing with its bolts, a rotor with vanes, wear, and sometimes cloth in it."""
    draw = random.Random(f"photo {seed}")  # noqa: S311 - a drawing, no secret
    picture = Image.linear_gradient("L").resize(SIZE).convert("RGB").point(lambda level: 60 + level // 5)
    pen = ImageDraw.Draw(picture)
    across, down = SIZE[0] / 2 + draw.uniform(-60, 60), SIZE[1] / 2 + draw.uniform(-20, 20)
    for radius, shade in ((330, 1), (300, 2), (236, 0)):
        _disc(pen, across, down, radius, _GREYS[shade])
    for number in range(12):
        turn = math.tau * number / 12 + 0.2
        _disc(pen, across + 268 * math.cos(turn), down + 268 * math.sin(turn), 17, _GREYS[4])
        _disc(pen, across + 268 * math.cos(turn), down + 268 * math.sin(turn), 9, _GREYS[1])
    first, vanes = draw.uniform(0, math.tau), draw.choice((5, 6, 8))
    for number in range(vanes):
        turn = first + math.tau * number / vanes
        edge = [(across + reach * math.cos(turn + lean), down + reach * math.sin(turn + lean))
                for reach, lean in ((60, 0.0), (222, 0.10), (226, 0.22), (66, 0.4))]  # fmt: skip
        pen.polygon(edge, fill=_GREYS[3], outline=_GREYS[4])
    _disc(pen, across, down, 74, _GREYS[2])
    _disc(pen, across, down, 30, _GREYS[0])
    for _ in range(draw.randint(40, 90)):
        turn, reach = draw.uniform(0, math.tau), draw.uniform(80, 320)
        _disc(
            pen, across + reach * math.cos(turn), down + reach * math.sin(turn), draw.uniform(2, 9), draw.choice(_RUST)
        )
    if draw.random() < 0.5:
        turn, colour = draw.uniform(0, math.tau), draw.choice(_CLOTH)
        for fold in range(9):
            lean = turn + fold * 0.11
            pen.line(
                [(across + (90 + fold * 12) * math.cos(lean), down + (90 + fold * 12) * math.sin(lean)),
                 (across + (190 - fold * 5) * math.cos(lean + 0.7), down + (190 - fold * 5) * math.sin(lean + 0.7))],
                fill=tuple(max(0, level - 7 * fold) for level in colour), width=26,
            )  # fmt: skip
    out = io.BytesIO()
    picture.filter(ImageFilter.BoxBlur(1)).save(out, "JPEG", quality=72)
    return out.getvalue()


def _disc(pen: ImageDraw.ImageDraw, across: float, down: float, radius: float, fill: tuple[int, ...]) -> None:
    pen.ellipse((across - radius, down - radius, across + radius, down + radius), fill=fill)
