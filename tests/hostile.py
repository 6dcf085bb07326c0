"""Files that somebody could send who means no good, or whose phone is broken: made from a seed.

Each case is a name and bytes. Pictures hold noise, so that bytes of theirs are known again wherever
they come out, and `CANARY` stands in all metadata.
"""

import io
import random
import struct
import zlib

import numpy as np
import pillow_heif
from PIL import Image, ImageCms, PngImagePlugin

CANARY = b"CANARY-OF-A-PLACE-52.0907N-5.1214E"

pillow_heif.register_heif_opener()


def noise(seed, size=(200, 150), mode="RGB"):
    shades = np.random.default_rng(seed).integers(0, 255, (size[1], size[0], 3), dtype=np.uint8)
    return Image.fromarray(shades).convert(mode)


def encoded(picture, form, **options):
    out = io.BytesIO()
    picture.save(out, form, **options)
    return out.getvalue()


def exif():
    """EXIF with a place, a device, a comment and a day."""
    told = Image.Exif()
    told[0x010F], told[0x0131] = CANARY.decode(), CANARY.decode()
    told.get_ifd(0x8825)[1] = "N"
    told.get_ifd(0x8825)[0x1D] = CANARY.decode()
    told.get_ifd(0x8769)[0x9003] = "2031:04:17 11:30:00"
    told.get_ifd(0x8769)[0x9286] = b"ASCII\0\0\0" + CANARY
    return told


def segment(marker, body):
    """A JPEG segment."""
    return b"\xff" + bytes([marker]) + struct.pack(">H", len(body) + 2) + body


def chunk(kind, body):
    """A PNG chunk."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def laden_jpeg(seed):
    """All metadata that a JPEG can carry, a thumbnail and bytes behind its end among them."""
    data = encoded(
        noise(seed), "JPEG", exif=exif(), comment=CANARY, icc_profile=srgb_profile(), quality=92
    )
    thumb = encoded(noise(seed + 1, (64, 48)), "JPEG", comment=CANARY)
    extra = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x>" + CANARY + b"</x>")
    extra += segment(
        0xED, b"Photoshop 3.0\x008BIM\x04\x04\0\0" + struct.pack(">I", 40) + CANARY * 2
    )
    extra += (
        segment(0xE2, b"MPF\0" + CANARY) + segment(0xEF, CANARY + thumb) + segment(0xFE, CANARY)
    )
    return data[:2] + extra + data[2:] + CANARY + thumb


def srgb_profile():
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def laden_png(seed):
    told = PngImagePlugin.PngInfo()
    told.add_text("Comment", CANARY.decode())
    told.add_text("Author", CANARY.decode(), zip=True)
    told.add_itxt("XML:com.adobe.xmp", f"<x>{CANARY.decode()}</x>")
    data = encoded(noise(seed), "PNG", pnginfo=told, exif=exif(), icc_profile=srgb_profile())
    return data[:33] + chunk(b"prVt", CANARY) + data[33:] + CANARY


def laden_webp(seed):
    told = {"exif": exif(), "xmp": b"<x>" + CANARY + b"</x>", "icc_profile": srgb_profile()}
    return encoded(noise(seed), "WEBP", **told) + CANARY


def laden_heif(seed):
    told = {"exif": exif().tobytes(), "xmp": b"<x>" + CANARY + b"</x>"}
    return encoded(noise(seed), "HEIF", quality=90, **told) + CANARY


LADEN = {"jpeg": laden_jpeg, "png": laden_png, "webp": laden_webp, "heif": laden_heif}


def sound(seed):
    """Pictures of every kind that is taken, with their names."""
    made = {f"laden-{kind}": make(seed) for kind, make in LADEN.items()}
    frames = [noise(seed + n, (90, 70)) for n in range(4)]
    return made | {
        "progressive.jpg": encoded(noise(seed), "JPEG", progressive=True),
        "cmyk.jpg": encoded(noise(seed, mode="CMYK"), "JPEG"),
        "grey.jpg": encoded(noise(seed, mode="L"), "JPEG"),
        "alpha.png": encoded(noise(seed, mode="RGBA"), "PNG"),
        "palette.png": encoded(noise(seed, mode="P"), "PNG"),
        "bits.png": encoded(noise(seed, mode="1"), "PNG"),
        "deep.png": encoded(noise(seed, mode="I;16"), "PNG"),
        "moving.png": encoded(frames[0], "PNG", save_all=True, append_images=frames[1:]),
        "lossless.webp": encoded(noise(seed), "WEBP", lossless=True),
        "moving.webp": encoded(frames[0], "WEBP", save_all=True, append_images=frames[1:]),
    }


def png_of(width, height, idat, depth=8, kind=2, extra=b""):
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, kind, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + extra + chunk(b"IDAT", idat) + chunk(b"IEND", b"")


def zeros(megabytes):
    """So many zeros, packed."""
    packer = zlib.compressobj(9)
    parts = [packer.compress(bytes(1 << 20)) for _ in range(megabytes)]
    return b"".join(parts) + packer.flush()


def bombs():
    """Small files that claim, or unfold to, a great deal."""
    for side in (8000, 20_000, 65_535, 1_000_000, 2**31 - 1):
        yield f"bomb-{side}.png", png_of(side, side, zeros(2))
    yield "bomb-flat.png", png_of(7700, 7700, zeros(170))
    yield "bomb-over.png", png_of(200, 200, zeros(300))
    yield "bomb-deep.png", png_of(7000, 7000, zeros(380), 16, 6)
    text = chunk(b"zTXt", b"c\0\0" + zeros(200)) + chunk(b"iTXt", b"c\0\1\0\0\0" + zeros(200))
    yield "bomb-text.png", png_of(200, 150, zeros(1), extra=text)
    yield (
        "bomb-profile.png",
        png_of(200, 150, zeros(1), extra=chunk(b"iCCP", b"p\0\0" + zeros(200))),
    )
    many = b"".join(chunk(b"tEXt", b"k\0" + bytes(60)) for _ in range(60_000))
    yield "many-chunks.png", png_of(200, 150, zeros(1), extra=many)
    jpeg = encoded(noise(1), "JPEG", progressive=True)
    at = jpeg.index(b"\xff\xc2")
    for width, height in ((65_500, 65_500), (65_500, 900), (30_000, 30_000), (0, 0), (1, 65_000)):
        sized = jpeg[: at + 5] + struct.pack(">HH", height, width) + jpeg[at + 9 :]
        yield f"bomb-{width}-{height}.jpg", sized
    scan = jpeg.rindex(b"\xff\xda")
    flat = encoded(Image.new("L", (7600, 7600)), "JPEG", progressive=True)
    last = flat.rindex(b"\xff\xda")
    yield "many-scans.jpg", flat[:last] + flat[last:-2] * 400 + b"\xff\xd9"
    yield "many-small-scans.jpg", jpeg[:scan] + jpeg[scan:-2] * 300 + b"\xff\xd9"
    yield "large.webp", encoded(Image.new("RGB", (16_000, 3700)), "WEBP", lossless=True)
    webp = encoded(noise(1, mode="RGBA"), "WEBP", exif=exif())
    wide = webp[:24] + b"\xff\xff\xff" + b"\xff\xff\xff" + webp[30:]
    yield "bomb-canvas.webp", wide
    frames = [Image.new("RGB", (1500, 1500), (n % 250, 0, 0)) for n in range(100)]
    yield "many-frames.webp", encoded(frames[0], "WEBP", save_all=True, append_images=frames[1:])
    yield "many-frames.png", encoded(frames[0], "PNG", save_all=True, append_images=frames[1:40])
    heif = encoded(noise(1), "HEIF")
    spot = heif.index(b"ispe") + 8
    for side in (20_000, 2**31 - 1, 2**32 - 1, 0):
        yield f"bomb-{side}.heic", heif[:spot] + struct.pack(">II", side, side) + heif[spot + 8 :]
    box = heif.index(b"iloc")
    yield "many-items.heic", heif[: box + 8] + b"\xff\xff" + heif[box + 10 :]


def polyglots(seed):
    """Files that are two things at once, or say so."""
    script = b"<script>alert('" + CANARY + b"')</script>"
    php = b"<?php system($_GET['c']); /* " + CANARY + b" */ ?>"
    jpeg, png = encoded(noise(seed), "JPEG"), encoded(noise(seed), "PNG")
    gif = encoded(noise(seed, mode="P"), "GIF")
    packed = b"PK\x03\x04" + CANARY + b"PK\x05\x06" + bytes(18)
    svg = b"<svg xmlns='http://www.w3.org/2000/svg'>" + script + b"</svg>"
    yield "html.jpg", jpeg + b"<html>" + script
    yield "comment.jpg", jpeg[:2] + segment(0xFE, script + php) + jpeg[2:]
    yield "app-html.jpg", jpeg[:2] + segment(0xE0, script) + jpeg[2:]
    yield "php.png", png[:33] + chunk(b"tEXt", b"c\0" + php) + png[33:]
    yield "behind.png", png + php + packed
    yield "gifar.gif", gif + packed
    yield "zip.jpg", jpeg + packed
    yield "pdf.jpg", b"%PDF-1.7\n" + jpeg
    yield "html-first.jpg", b"<html>" + script + jpeg
    yield "script.svg", svg
    yield "xml.svg", b"<?xml version='1.0'?>" + svg
    yield "named.jpg", b"\xff\xd8\xff" + svg
    yield "named.png", b"\x89PNG\r\n\x1a\n" + svg
    yield "named.webp", b"RIFF\x40\0\0\0WEBP" + svg
    yield "named.heic", b"\0\0\0\x18ftypheic" + svg


def strangers(seed):
    """What is no picture of a kind that is taken."""
    dice = random.Random(seed)
    picture = noise(seed)
    for form in ("GIF", "TIFF", "BMP", "ICO", "PPM", "TGA", "PCX", "EPS", "PDF", "JPEG2000"):
        yield f"other.{form.lower()}", encoded(picture, form)
    yield "empty", b""
    yield "program", b"\x7fELF" + dice.randbytes(4000)
    yield "film.mp4", b"\0\0\0\x20ftypisom" + dice.randbytes(4000)
    yield "other.avif", b"\0\0\0\x20ftypavif" + dice.randbytes(4000)
    yield "text", b"name: Ada\n" * 400
    magics = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\0\1\0\0WEBPVP8 ", b"\0\0\0\x18ftypheic"
    for number in range(40):
        yield f"random-{number}", magics[number % 4] + dice.randbytes(dice.randrange(1, 9000))


def damaged(seed, each):
    """Every sound picture cut, flipped, spliced and repeated in `each` ways of either kind."""
    dice = random.Random(seed)
    pictures = sound(seed)
    for name, data in pictures.items():
        for number in range(each):
            yield f"cut-{number}-{name}", data[: dice.randrange(1, len(data))]
            yield f"flipped-{number}-{name}", _flipped(dice, data, len(data))
            yield f"head-{number}-{name}", _flipped(dice, data, min(len(data), 600))
            other = pictures[dice.choice(sorted(pictures))]
            at, to = dice.randrange(len(data)), dice.randrange(len(other))
            yield f"spliced-{number}-{name}", data[:at] + other[to:]
            start, end = sorted(dice.randrange(len(data)) for _ in range(2))
            yield f"twice-{number}-{name}", data[:end] + data[start:]


def _flipped(dice, data, within):
    changed = bytearray(data)
    for _ in range(dice.choice((1, 2, 4, 16, 64))):
        changed[dice.randrange(within)] ^= 1 << dice.randrange(8)
    return bytes(changed)


def all_cases(seed, each):
    """Everything: what is sound and laden too, since nothing of it may come out."""
    yield from sound(seed).items()
    yield from bombs()
    yield from polyglots(seed)
    yield from strangers(seed)
    yield from damaged(seed, each)


# What an output must be


def markers(jpeg):
    """Markers of a JPEG up to its scan, with each one's body; the scan; what lies behind it."""
    assert jpeg[:2] == b"\xff\xd8"
    at, found = 2, []
    while True:
        assert jpeg[at] == 0xFF
        marker, (size,) = jpeg[at + 1], struct.unpack(">H", jpeg[at + 2 : at + 4])
        found.append((marker, jpeg[at + 4 : at + 2 + size]))
        at += 2 + size
        if marker == 0xDA:
            end = jpeg.index(b"\xff\xd9", at)
            return found, jpeg[at:end], jpeg[end + 2 :]


def require_clean(jpeg, given):
    """Assert that a kept picture is a bare JPEG of ours, with nothing of what was given in it."""
    found, scan, behind = markers(jpeg)
    assert behind == b""
    assert {marker for marker, _ in found} <= {0xE0, 0xDB, 0xC0, 0xC4, 0xDA}
    assert [body for marker, body in found if marker == 0xE0] == [b"JFIF\0\1\1\0\0\1\0\1\0\0"]
    assert CANARY not in jpeg
    runs = {given[at : at + 16] for at in range(len(given) - 15)}
    for at in range(0, len(scan) - 15, 16):  # any 31 bytes that were carried over
        run = scan[at : at + 16]
        assert run not in runs or len(set(run)) < 9  # flat areas look alike in every JPEG
