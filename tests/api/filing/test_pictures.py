"""Of a picture the picture is kept, upright and in its colours, and nothing that was written beside it."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor

import pytest
from PIL import Image

from api.filing.pictures import PAGES_MOST, redrawn
from domain.errors import RuleBroken
from domain.records.documents import MediaType
from tests.pictures import CANARY, drawn, exif, jpeg, opened, png, tiff, webp

MOST = 10_000
BEARERS = {
    "jpeg": (jpeg(), MediaType.JPEG),
    "png": (png(), MediaType.PNG),
    "png with a palette": (png(drawn(mode="P"), transparency=0), MediaType.PNG),
    "png in black and white": (png(drawn(mode="1")), MediaType.PNG),
    "png of 16 bits": (png(drawn(mode="L").convert("I;16")), MediaType.PNG),
    "png that is seen through": (png(drawn(mode="RGBA")), MediaType.PNG),
    "webp": (webp(), MediaType.WEBP),
    "webp without loss": (webp(lossless=True), MediaType.WEBP),
    "tiff": (tiff(), MediaType.TIFF),
    "tiff of a fax": (tiff(drawn(mode="1"), compression="group4"), MediaType.TIFF),
    "tiff with a jpeg inside": (tiff(compression="jpeg"), MediaType.TIFF),
    "tiff of three pages": (tiff(drawn(), drawn(), drawn()), MediaType.TIFF),
}


def redraw(content: bytes, *, most_pixels: int = MOST) -> tuple[MediaType | None, bytes]:
    made = io.BytesIO()
    media = redrawn(io.BytesIO(content), made, most_pixels=most_pixels)
    return media, made.getvalue()


def refusal(content: bytes, **more: int) -> str:
    with pytest.raises(RuleBroken) as refused:
        redraw(content, **more)
    assert refused.value.faults[0].pointer == "/file"
    return refused.value.code


def said_of(content: bytes) -> str | MediaType | None:
    """Return what a file is taken for, or the code by which it is refused."""
    try:
        return redraw(content)[0]
    except RuleBroken as refused:
        return refused.code


@pytest.mark.parametrize("kind", BEARERS)
def test_nothing_that_was_written_beside_the_picture_is_left(kind):
    content, media = BEARERS[kind]
    assert CANARY.encode() in content or CANARY.encode("utf-16-le") in content

    found, kept = redraw(content)

    picture = opened(kept)
    tags = dict(picture.getexif())
    assert found is media
    assert CANARY.split()[0].encode() not in kept
    assert b"GPS" not in kept
    assert not tags.keys() & {0x0112, 0x010E, 0x010F, 0x0131, 0x013B, 0x02BC, 0x8298, 0x83BB, 0x8649, 0x8769, 0x8825}
    assert picture.info.keys() & {"exif", "xmp", "comment", "photoshop", "Author", "Comment", "XML:com.adobe.xmp"} == set()


@pytest.mark.parametrize("make", [jpeg, png, webp])
def test_a_picture_that_was_held_sideways_stands_upright(make):
    _, kept = redraw(make())

    picture = opened(kept).convert("RGB")
    assert picture.size == (20, 40)
    red, _, blue = picture.getpixel((18, 20))
    assert blue > red, "the blue line was above and is at the right"
    red, _, blue = picture.getpixel((2, 20))
    assert red > blue


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_way_of_holding_is_undone(orientation):
    upright = Image.new("RGB", (32, 16), "white")
    upright.paste("black", (0, 0, 16, 8))
    undo = {2: 0, 3: 3, 4: 1, 5: 5, 6: 2, 7: 6, 8: 4}
    held = upright if orientation == 1 else upright.transpose(Image.Transpose(undo[orientation]))

    _, kept = redraw(png(held, exif=exif(orientation)))

    assert opened(kept).tobytes() == upright.tobytes()


def test_colours_dots_and_what_is_seen_through_are_kept():
    _, photograph = redraw(jpeg())
    _, drawing = redraw(png(drawn(mode="P"), transparency=0))

    assert opened(photograph).info["icc_profile"]
    assert opened(photograph).info["dpi"] == (150, 300), "turned with the picture"
    assert opened(drawing).info["transparency"] == 0


def test_a_photograph_loses_next_to_nothing_by_being_drawn_again():
    noise = Image.effect_noise((200, 100), 60).convert("RGB")
    content = jpeg(noise, exif=exif(1), quality=80, subsampling=1)
    before, after = opened(content), opened(redraw(content, most_pixels=100_000)[1])

    differences = [abs(one - other) for one, other in zip(before.tobytes(), after.tobytes(), strict=True)]

    assert before.quantization == after.quantization
    assert sum(differences) / len(differences) < 1


@pytest.mark.parametrize("kind", ["png", "webp without loss", "tiff"])
def test_what_was_kept_without_loss_is_the_same_to_the_last_dot(kind):
    content, _ = BEARERS[kind]
    before = opened(content)
    upright = before if kind == "tiff" else before.transpose(Image.Transpose.ROTATE_270)

    assert opened(redraw(content)[1]).tobytes() == upright.tobytes()


def test_all_pages_of_a_scan_are_kept_and_each_stays_as_small():
    pages = [drawn(mode="1"), drawn(60, 20, mode="1"), drawn(mode="1")]

    _, kept = redraw(tiff(*pages, compression="group4"))

    scan = opened(kept)
    sizes = []
    for number in range(scan.n_frames):
        scan.seek(number)
        sizes.append((scan.size, scan.info["compression"], scan.info["dpi"]))
    assert sizes == [((40, 20), "group4", (300, 300)), ((60, 20), "group4", (300, 300)), ((40, 20), "group4", (300, 300))]


def test_of_a_picture_with_further_views_the_first_is_kept():
    file = io.BytesIO()
    drawn().save(file, "MPO", save_all=True, append_images=[Image.new("RGB", (99, 99))], exif=exif(1))

    media, kept = redraw(file.getvalue())

    assert media is MediaType.JPEG
    assert (opened(kept).size, getattr(opened(kept), "n_frames", 1)) == ((40, 20), 1)


@pytest.mark.parametrize(
    "content",
    [
        b"<html><script>alert(1)</script></html>",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
        b"GIF89a\x01\0\x01\0\0\0\0;",
        b"MZ\x90\0",
        b"PK\x03\x04",
        b"%PDF-1.7\n%%EOF",
        b"\xff\xd8\xff<html>",
        b"\x89PNG\r\n\x1a\n<svg>",
        b"RIFF\x04\0\0\0WEBP",
        b"II*\0",
        b"",
    ],
)
def test_what_is_no_picture_that_is_taken_is_none_or_damaged(content):
    assert said_of(content) in {"picture-damaged", None}


@pytest.mark.parametrize("kind", BEARERS)
def test_a_picture_that_was_cut_off_is_refused(kind):
    content, _ = BEARERS[kind]
    cut = content[: content.find(b"IDAT") + 6] if kind.startswith("png") else content[: len(content) // 2]

    assert said_of(cut) in {"picture-damaged", None}


def test_too_many_pixels_are_refused_before_they_are_unpacked():
    bomb = io.BytesIO()
    Image.new("1", (10_000, 5_100)).save(bomb, "PNG")
    worse = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(worse, "PNG")

    assert len(bomb.getvalue()) < 100_000
    assert {refusal(one.getvalue(), most_pixels=49_000_000) for one in (bomb, worse)} == {"picture-too-large"}
    assert redraw(jpeg(drawn(100, 100)))[0] is MediaType.JPEG
    assert refusal(jpeg(drawn(100, 101))) == "picture-too-large"


def test_the_pages_of_a_scan_have_a_limit_together():
    page = drawn(100, 100, mode="1")

    assert redraw(tiff(*[page] * 4))[0] is MediaType.TIFF
    assert refusal(tiff(*[page] * 5)) == "picture-too-large"
    assert refusal(tiff(*[drawn(1, 4, mode="1")] * (PAGES_MOST + 1))) == "picture-too-large"


@pytest.mark.parametrize("make", [png, webp])
def test_what_moves_is_refused(make):
    assert refusal(make(save_all=True, append_images=[drawn().rotate(180)])) == "picture-moving"


@pytest.mark.parametrize("tags", [{50706: b"\1\4\0\0"}, {330: 8}])
def test_what_a_camera_saw_is_refused_because_the_picture_in_it_is_a_preview(tags):
    assert refusal(tiff(tags=tags)) == "picture-raw"


def test_pictures_that_come_at_once_are_drawn_one_after_the_other_and_rightly():
    contents = [png(drawn(20 + number, 10), exif=exif(1)) for number in range(8)]

    with ThreadPoolExecutor(4) as at_once:
        kept = [opened(made).size for _, made in at_once.map(redraw, contents)]

    assert kept == [(20 + number, 10) for number in range(8)]
