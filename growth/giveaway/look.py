"""The consultant's own look: accent colour and its contrast, logo, name, site, light or dark, the letters of the prose.

The accent colours the answer's numbers, buttons, links and sliders. The charts keep their own colours, which differ for
colour-blind readers too.
"""

from __future__ import annotations

import colorsys
from html import escape
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, StringConstraints, model_validator

from growth.errors import PublishError
from growth.files import read_input
from growth.giveaway.logo import MOST_BYTES, cleaned_again, embedded_logo, is_data
from growth.scenario.section import COLOUR, Name, Section, WebAddress, broken

Colour = Annotated[str, StringConstraints(pattern=COLOUR, to_lower=True)]
DARK_QUERY = "(prefers-color-scheme: dark)"
ENOUGH = 4.5  # to 1, the contrast that text needs: success criterion 1.4.3 of the guidelines named in `contrast`
LIGHT_PAPER, DARK_PAPER = "#fbf7ef", "#1e1b17"  # the grounds of calculator.css; a test holds them together


def _logo(value: str) -> str:
    if is_data(value):
        try:
            return cleaned_again(value)
        except PublishError as error:
            raise broken(str(error)) from None
    if Path(value).name != value or not value.lower().endswith((".svg", ".png")):
        raise broken("the name of an .svg or .png file that lies beside this one", value)
    return value


Logo = Annotated[str, StringConstraints(min_length=5, max_length=2 * MOST_BYTES), AfterValidator(_logo)]


class Look(Section):
    """How everything that goes out looks, and whose it is.

    Attributes
    ----------
    accent, accent_in_dark
        Colours written #rrggbb, with a contrast of at least 4.5 to 1 on the light and on the dark page. Without the
        second one the nearest readable colour of the same hue is taken.
    logo
        An SVG or PNG file beside the scenario file; once read, its cleaned content as a data address.
    name, site
        Whose work it is, and where they are on the web.
    scheme
        `light` or `dark` whatever the reader's device prefers; `reader` follows the device.
    letters
        `serif` or `sans`, of the prose. Numbers are always sans.
    """

    accent: Colour | None = None
    accent_in_dark: Colour | None = None
    logo: Logo | None = None
    name: Name | None = None
    site: WebAddress | None = None
    scheme: Literal["reader", "light", "dark"] = "reader"
    letters: Literal["serif", "sans"] = "serif"

    @model_validator(mode="after")
    def _readable(self) -> Look:
        for key, colour, paper in (
            ("accent", self.accent, LIGHT_PAPER),
            ("accent_in_dark", self.accent_in_dark, DARK_PAPER),
        ):
            if colour and contrast(colour, paper) < ENOUGH:
                ground = "light" if paper == LIGHT_PAPER else "dark"
                raise broken(
                    f"a colour with a contrast of at least {ENOUGH} to 1 on the {ground} page",
                    f"{colour}, {contrast(colour, paper):.1f} to 1",
                    f"The nearest of this hue is {nearest_readable(colour, paper)}.",
                    key=key,
                )
        if self.accent_in_dark and not self.accent:
            raise broken("accent_in_dark goes with accent", self.accent_in_dark, key="accent_in_dark")
        return self

    @property
    def dark_accent(self) -> str | None:
        """The accent on the dark page: as given, or the nearest readable colour to the light one."""
        return self.accent_in_dark or (nearest_readable(self.accent, DARK_PAPER) if self.accent else None)


def with_logo(look: Look, folder: Path) -> Look:
    """The look with its logo's file read, cleaned and embedded. folder: where the scenario file lies.

    Raises PublishError or FileError if there is no such file, or it is no logo that can be embedded.

    >>> with_logo(Look(name="A desk"), Path(".")).name
    'A desk'
    """
    if look.logo is None or is_data(look.logo):
        return look
    return look.model_copy(update={"logo": embedded_logo(read_input(folder / look.logo, most_bytes=MOST_BYTES))})


def dressed(style: str, look: Look) -> str:
    """A stylesheet with the custom properties of calculator.css, in this look; unchanged for a look of defaults."""
    own = "--serif:var(--sans)" if look.letters == "sans" else ""
    light = ";".join(part for part in (f"--accent:{look.accent}" if look.accent else "", own) if part)
    if light:
        style += f":root,.growth-calculator{{{light}}}"
    if look.accent:
        style += (
            f"@media screen and {DARK_QUERY}{{:root:not([data-light]),:root:not([data-light]) "
            f".growth-calculator:not(.growth-live){{--accent:{look.dark_accent}}}}}"
        )
    if look.scheme != "reader":
        query = "screen" if look.scheme == "dark" else "not all"
        style = style.replace(f"screen and {DARK_QUERY}", query)
    return style


def sender_html(look: Look) -> str:
    """Whose page it is: logo and name, which lead to the site where there is one; "" without any."""
    if not (look.logo or look.name):
        return ""
    name = look.name or look.site or ""
    logo = f'<img src="{escape(look.logo)}" alt="{"" if look.name else escape(name)}">' if look.logo else ""
    inner = logo + escape(look.name or "")
    link = f'<a href="{escape(look.site)}" rel="noopener">{inner}</a>' if look.site else inner
    return f'<p class="sender">{link}</p>'


def sender_line(look: Look) -> str:
    """Name and site on one line, where no picture can stand; "" without a name."""
    return ", ".join(part for part in (look.name, look.site) if part) if look.name else ""


def luminance(colour: str) -> float:
    """Relative luminance of a colour, from 0 (black) to 1 (white); source as for `contrast`.

    >>> luminance("#000000"), round(luminance("#ffffff"), 12)
    (0.0, 1.0)
    """
    parts = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in _rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours written #rrggbb, from 1 (the same) to 21 (black on white).

    Source: Web Content Accessibility Guidelines 2.2, "contrast ratio" and "relative luminance"
    (https://www.w3.org/TR/WCAG22/).

    >>> round(contrast("#000000", "#ffffff"), 6)
    21.0
    """
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def nearest_readable(colour: str, paper: str) -> str:
    """The colour itself if it can be read on `paper`, else the nearest of its hue and saturation that can.

    It is darkened on light paper and lightened on dark paper, to a contrast of at least ENOUGH where `paper` has such
    colours at all. Both are written #rrggbb.

    >>> nearest_readable("#1f5f8b", LIGHT_PAPER)
    '#1f5f8b'
    >>> contrast(nearest_readable("#ffcc00", LIGHT_PAPER), LIGHT_PAPER) >= ENOUGH
    True
    """
    if contrast(colour, paper) >= ENOUGH:
        return colour
    hue, lightness, saturation = colorsys.rgb_to_hls(*_rgb(colour))
    end = 0.0 if luminance(paper) > 0.18 else 1.0
    for step in range(1, 256):
        moved = lightness + (end - lightness) * step / 255
        new = "#" + "".join(f"{round(value * 255):02x}" for value in colorsys.hls_to_rgb(hue, moved, saturation))
        if contrast(new, paper) >= ENOUGH:
            break
    return new


def _rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return red, green, blue
