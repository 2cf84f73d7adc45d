"""A logo, checked and cleaned, as a data address that a page can hold.

An SVG is parsed with entities and document types switched off and written anew from an allow-list. What nobody sees
(scripts, event handlers, links, an editor's own data) is left out. What would be missed (style sheets, embedded
pictures, HTML, references) is refused, so a logo is never damaged without a word. A PNG keeps only the chunks that
draw it.
"""

from __future__ import annotations

import base64
import binascii
import re
import struct
import zlib
from xml.etree.ElementTree import Element, tostring

from growth.errors import PublishError

MOST_BYTES = 100 * 1024
MOST_PIXELS = 4000  # on each side
_SVG = "http://www.w3.org/2000/svg"
_DRAWN = frozenset(
    "svg g path rect circle ellipse line polyline polygon title desc defs linearGradient radialGradient stop "
    "clipPath mask text tspan".split()
)
_UNSEEN = frozenset("script metadata animate animateMotion animateTransform set discard view namedview".split())
_LOOKS = frozenset(
    "fill fill-opacity fill-rule stroke stroke-width stroke-linecap stroke-linejoin stroke-miterlimit stroke-dasharray "
    "stroke-dashoffset stroke-opacity opacity color stop-color stop-opacity clip-rule clip-path mask font-family "
    "font-size font-weight font-style text-anchor letter-spacing display visibility transform".split()
)
_PLACES = frozenset(
    "id x y x1 y1 x2 y2 cx cy r rx ry fx fy width height d points viewBox preserveAspectRatio offset dx dy pathLength "
    "gradientUnits gradientTransform spreadMethod clipPathUnits maskUnits maskContentUnits".split()
)
_HARMLESS = re.compile(r"[\w\s#.,%()+'\"-]*", re.ASCII)
_URL = re.compile(r"url\(\s*['\"]?#[\w-]+['\"]?\s*\)", re.ASCII)
_DATA = re.compile(r"data:image/(png|svg\+xml);base64,([A-Za-z0-9+/=]*)")
_PNG = b"\x89PNG\r\n\x1a\n"
_CHUNKS = (b"IHDR", b"PLTE", b"tRNS", b"gAMA", b"sRGB", b"IDAT", b"IEND")


def is_data(text: str) -> bool:
    """Whether a text is a logo that has been embedded already.

    >>> is_data("logo.svg")
    False
    """
    return text.startswith("data:")


def embedded_logo(content: bytes) -> str:
    """The bytes of a logo's file as a data address, cleaned. They say whether it is an SVG or a PNG, not its name.

    Raises PublishError if it is neither, is too large, is broken, or cannot be cleaned without being damaged.

    >>> embedded_logo(b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9' onload='x()'/>")[:26]
    'data:image/svg+xml;base64,'
    """
    if len(content) > MOST_BYTES:
        raise PublishError(f"a logo has at most {MOST_BYTES // 1024} KB; this one has {len(content) / 1024:,.0f} KB")
    kind, kept = ("png", _clean_png(content)) if content.startswith(_PNG) else ("svg+xml", _clean_svg(content))
    return f"data:image/{kind};base64,{base64.b64encode(kept).decode()}"


def cleaned_again(data: str) -> str:
    """An embedded logo, checked as a file would be. Raises PublishError."""
    found = _DATA.fullmatch(data)
    try:
        return embedded_logo(base64.b64decode(found[2], validate=True) if found else b"")
    except binascii.Error:
        raise PublishError("an embedded logo is whole") from None


def logo_bytes(data: str) -> tuple[str, bytes]:
    """The kind, `png` or `svg`, and the content of an embedded logo."""
    kind = "png" if data.startswith("data:image/png") else "svg"
    return kind, base64.b64decode(data.partition(",")[2])


def png_size(content: bytes) -> tuple[int, int]:
    """Width and height of a PNG in pixels, from its head."""
    width, height = struct.unpack(">II", content[16:24])
    return width, height


def _clean_svg(content: bytes) -> bytes:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import ParseError, fromstring

    try:
        root = fromstring(content, forbid_dtd=True)
    except DefusedXmlException:
        raise PublishError("an SVG logo has no document type and no entities; save it as plain SVG") from None
    except (ParseError, ValueError, LookupError):
        raise PublishError("a logo is an SVG or a PNG file, and this is neither") from None
    if root.tag not in (f"{{{_SVG}}}svg", "svg"):
        raise PublishError("a logo is an SVG or a PNG file, and this is other XML")
    clean = _element(root, 0)
    if clean is None or not ({"viewBox"} <= set(clean.attrib) or {"width", "height"} <= set(clean.attrib)):
        raise PublishError("an SVG logo says its size: viewBox, or width and height")
    clean.set("xmlns", _SVG)
    return tostring(clean, encoding="utf-8", xml_declaration=False)


def _element(old: Element, depth: int) -> Element | None:
    """The element with what is allowed of it; None where nobody would miss it."""
    if not isinstance(old.tag, str):
        return None  # a comment or a processing instruction
    space, _, name = old.tag.rpartition("}")
    if space not in ("", "{" + _SVG) or name in _UNSEEN:
        return None
    name = "g" if name == "a" else name  # a link goes nowhere, and what it holds is drawn
    if any(key.rpartition("}")[2] == "href" for key in old.attrib) and not old.tag.endswith("a"):
        raise PublishError(f"an SVG logo has no references, and its <{name}> has one; save it as plain SVG")
    if name not in _DRAWN or depth > 50:
        what = f"<{name}>" if depth <= 50 else "elements nested more than 50 deep"
        raise PublishError(
            f"an SVG logo is made of shapes alone, and this one has {what}. Save it as plain SVG, with text as paths "
            "and colours as attributes, or as PNG"
        )
    new = Element(name)
    for key, value in old.attrib.items():
        for part, text in _declared(value) if key == "style" else ((key, value),):
            _allow(new, part, text)
    new.text, new.tail = (old.text, None) if name in ("title", "desc", "text", "tspan") else (None, None)
    for child in old:
        kept = _element(child, depth + 1)
        if kept is not None:
            kept.tail = child.tail if name in ("text", "tspan") else None
            new.append(kept)
    return new


def _allow(element: Element, name: str, value: str) -> None:
    """Set the attribute if it may stay. What a drawing attribute refers to lies within the file, or it is refused."""
    if name not in _LOOKS and name not in _PLACES:
        return
    if not _HARMLESS.fullmatch(_URL.sub("", value)) or "url" in _URL.sub("", value).lower():
        raise PublishError(f"an SVG logo refers to nothing outside of it, and its {name} does; save it as plain SVG")
    element.set(name, value)


def _declared(style: str) -> list[tuple[str, str]]:
    """The declarations of a style attribute, as attributes of their own."""
    pairs = (one.partition(":") for one in style.split(";"))
    return [(name.strip(), value.strip()) for name, colon, value in pairs if colon]


def _clean_png(content: bytes) -> bytes:
    kept, at, names = _PNG, len(_PNG), []
    while at < len(content) and b"IEND" not in names:
        if at + 12 > len(content):
            raise PublishError("a PNG logo is whole, and this one breaks off")
        length, name = struct.unpack(">I4s", content[at : at + 8])
        chunk = content[at : at + 12 + length]
        if len(chunk) < 12 + length:
            raise PublishError("a PNG logo is whole, and this one breaks off")
        if struct.unpack(">I", chunk[-4:])[0] != zlib.crc32(chunk[4:-4]):
            raise PublishError("a PNG logo is whole, and in this one a checksum is wrong")
        if name in _CHUNKS:
            kept += chunk
        names.append(name)
        at += 12 + length
    if names[:1] != [b"IHDR"] or b"IDAT" not in names or names[-1] != b"IEND":
        raise PublishError("a PNG logo has a head, a picture and an end, and this one has not")
    width, height = png_size(content)
    if not (0 < width <= MOST_PIXELS and 0 < height <= MOST_PIXELS):
        raise PublishError(f"a PNG logo has at most {MOST_PIXELS} pixels on a side; this one has {width} x {height}")
    return kept
