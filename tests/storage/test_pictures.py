"""Pictures as taken in: real ones only, of bounded size, and without where they were taken."""

import io
import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from scheduler.errors import Refused
from scheduler.storage.photos import pictures
from scheduler.storage.photos.pictures import picture_taken_in
from tests.pictures import CAMERA, MEDIA, MODEL, POSITION, exif_with_position, picture

FORMS = sorted(MEDIA)


def _seen(content: bytes) -> bytes:
    with Image.open(io.BytesIO(content)) as one:
        return one.tobytes()


@pytest.mark.parametrize("form", FORMS)
def test_a_picture_that_carries_nothing_else_is_kept_byte_for_byte(form: str) -> None:
    """Its hash is that of what was sent, and of what is sent once more."""
    sent = picture(form)
    assert picture_taken_in(sent) == (MEDIA[form], sent)


@pytest.mark.parametrize("form", FORMS)
def test_position_camera_texts_and_what_follows_the_end_go_and_the_rest_is_the_same(form: str) -> None:
    """What is seen stays as it was, which way up it is and when it was taken too; once more changes nothing."""
    more = {} if form == "PNG" else {"xmp": b"<x>" + POSITION + b"</x>"}
    sent = picture(form, exif=exif_with_position().tobytes(), **more) + POSITION + b"a film behind the picture"
    assert POSITION in sent
    assert CAMERA in sent
    media, kept = picture_taken_in(sent)
    assert media == MEDIA[form]
    for gone in (POSITION, CAMERA, MODEL, b"film"):
        assert gone not in kept
    assert _seen(kept) == _seen(sent)
    with Image.open(io.BytesIO(kept)) as one:
        exif = one.getexif()
        assert exif[0x0112] == 6
        assert exif.get_ifd(0x8769) == {0x9003: "2026:10:20 07:00:00"}
        assert not exif.get_ifd(0x8825)
    assert picture_taken_in(kept) == (media, kept)


def test_a_jpeg_in_several_scans_with_a_comment_and_restarts_stays_whole() -> None:
    """Progressive and with restart markers (ISO/IEC 10918-1 annexes B and G): every scan is kept, the comment goes."""
    for more in ({"progressive": True}, {"restart_marker_blocks": 1}):
        sent = picture("JPEG", (200, 120), comment=POSITION, **more)
        _, kept = picture_taken_in(sent)
        assert POSITION in sent
        assert POSITION not in kept
        assert _seen(kept) == _seen(sent)


def test_of_a_phones_pair_of_pictures_the_first_is_kept() -> None:
    """A file with several JPEGs one after the other (CIPA DC-007) becomes its first."""
    first = Image.new("RGB", (20, 20), "red")
    out = io.BytesIO()
    first.save(out, "MPO", save_all=True, append_images=[Image.new("RGB", (20, 20), "blue")])
    media, kept = picture_taken_in(out.getvalue())
    assert media == "image/jpeg"
    assert kept.count(b"\xff\xd8\xff") == 1
    assert _seen(kept) == _seen(out.getvalue())


def test_texts_of_a_png_go() -> None:
    """They are a place for positions as well."""
    sent = picture("PNG")
    text = b"tEXt" + b"Comment\x00" + POSITION
    whole = sent[:33] + struct.pack(">I", len(text) - 4) + text + struct.pack(">I", zlib.crc32(text)) + sent[33:]
    assert picture_taken_in(whole) == ("image/png", sent)


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_what_moves_is_refused(form: str) -> None:
    """Only one of its pictures would be looked at."""
    frames = [Image.new("RGB", (8, 8), colour) for colour in ("red", "blue")]
    out = io.BytesIO()
    frames[0].save(out, form, save_all=True, append_images=frames[1:])
    with pytest.raises(Refused, match="moves"):
        picture_taken_in(out.getvalue())


def _said_to_be(width: int, height: int) -> bytes:
    """A small PNG whose head says another size."""
    head = b"IHDR" + struct.pack(">II", width, height) + b"\x08\x02\x00\x00\x00"
    return picture("PNG")[:12] + head + struct.pack(">I", zlib.crc32(head)) + picture("PNG")[33:]


@pytest.mark.parametrize("side", [(8_000, 5_001), (20_000, 5_000), (60_000, 60_000), (2**31 - 1, 2**31 - 1)])
def test_a_picture_that_would_fill_the_memory_is_refused_by_its_head(
    side: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing of it is decoded, also where Pillow warns of it or refuses by itself."""
    sent = _said_to_be(*side)
    monkeypatch.setattr(Image.Image, "load", lambda _: pytest.fail("it was decoded"))
    with pytest.raises(Refused, match="40 million pixels"):
        picture_taken_in(sent)


def test_as_many_pixels_as_are_allowed_are_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """At the limit, and one row over."""
    monkeypatch.setattr(pictures, "MOST_PIXELS", 24 * 16)
    picture_taken_in(picture("PNG", (24, 16)))
    with pytest.raises(Refused, match="24 x 17"):
        picture_taken_in(picture("PNG", (24, 17)))


@pytest.mark.parametrize(
    "content", [b"", b"<svg onload=x>", b"GIF89a" + bytes(50), b"\xff\xd8\xff\xe0 picture", b"RIFF"]
)
def test_what_only_looks_like_a_picture_is_refused(content: bytes) -> None:
    """The first bytes alone are no picture."""
    with pytest.raises(Refused, match=r"JPEG, PNG or WebP|damaged"):
        picture_taken_in(content)


@pytest.mark.parametrize("form", FORMS)
def test_a_picture_cut_short_is_refused(form: str) -> None:
    """At its middle, as a link that drops leaves it."""
    sent = picture(form, (300, 200))
    with pytest.raises(Refused):
        picture_taken_in(sent[: len(sent) // 2])


@pytest.mark.filterwarnings("ignore:.*:UserWarning")  # Pillow warns of Exif that makes no sense
@given(form=st.sampled_from(FORMS), at=st.integers(0, 10_000), byte=st.integers(0, 255), cut=st.integers(0, 400))
def test_whatever_is_changed_it_is_taken_or_refused_in_words(form: str, at: int, byte: int, cut: int) -> None:
    """A changed byte and a cut end never make anything else of it, and what is taken can be seen."""
    sent = bytearray(picture(form, exif=exif_with_position().tobytes()))
    sent[at % len(sent)] = byte
    try:
        media, kept = picture_taken_in(bytes(sent[: len(sent) - cut] if cut else sent))
    except Refused:
        return
    assert media in MEDIA.values()
    assert _seen(kept)
