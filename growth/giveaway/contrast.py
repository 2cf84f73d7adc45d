"""Contrast between colours, and the nearest colour of the same hue that can be read.

Source: Web Content Accessibility Guidelines 2.2, "relative luminance" and "contrast ratio" (https://www.w3.org/TR/WCAG22/);
success criterion 1.4.3 asks for 4.5 to 1 for text.
"""

from __future__ import annotations

import colorsys

ENOUGH = 4.5
LIGHT_PAPER, DARK_PAPER = "#fbf7ef", "#1e1b17"  # the grounds of calculator.css; a test holds them together


def luminance(colour: str) -> float:
    """Relative luminance of a colour written #rrggbb, from 0 (black) to 1 (white).

    >>> luminance("#000000"), round(luminance("#ffffff"), 12)
    (0.0, 1.0)
    """
    parts = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in _rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, from 1 (the same) to 21 (black on white).

    >>> round(contrast("#000000", "#ffffff"), 6)
    21.0
    """
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def nearest_readable(colour: str, paper: str) -> str:
    """The colour itself if it can be read on `paper`, else the nearest of its hue and saturation that can.

    Parameters
    ----------
    colour, paper
        Written #rrggbb. The colour is darkened on light paper and lightened on dark paper.

    Returns
    -------
    str
        A colour with a contrast of at least 4.5 to 1, where `paper` has such colours at all.

    Examples
    --------
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
