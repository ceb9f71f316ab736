"""Small real pictures for tests, and such as carry what must not be kept."""

import io

from PIL import Image

POSITION, CAMERA, MODEL = b"51 deg Demo", b"Demo camera", b"Demo model 7"
MEDIA = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}


def picture(form: str = "PNG", size: tuple[int, int] = (24, 16), **more: object) -> bytes:
    """A picture with a gradient, in a form that Pillow names."""
    drawn = Image.linear_gradient("L").resize(size).convert("RGB")
    out = io.BytesIO()
    drawn.save(out, form, **more)
    return out.getvalue()


def exif_with_position() -> Image.Exif:
    """Exif as a phone writes it: which way up, when, with what, where."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x0110] = MODEL.decode()
    exif[0x8769] = {0x9003: "2026:10:20 07:00:00", 0xA433: CAMERA.decode()}
    exif[0x8825] = {1: "N", 2: (51.0, 30.0, 0.0), 29: POSITION.decode()}
    return exif
