"""Colour names and hues: the letter codes of IEC 60757, published hues, and WCAG contrast."""

from __future__ import annotations

# Names and letter codes: IEC 60757, table 1.
IEC_60757 = {
    "black": "BK",
    "brown": "BN",
    "red": "RD",
    "orange": "OG",
    "yellow": "YE",
    "green": "GN",
    "blue": "BU",
    "violet": "VT",
    "grey": "GY",
    "white": "WH",
    "pink": "PK",
    "turquoise": "TQ",
}

# IEC 60757 defines no hues. These come from two published colour-blind-safe collections and have at least
# 3:1 contrast on white: M. Okabe and K. Ito, Color Universal Design, 2002 (black, orange, blue, violet,
# green), and P. Tol, Colour Schemes, SRON/EPS/TN/09-002, 2021 (red, pink and turquoise: vibrant; yellow and
# brown: muted). Grey and white are our own: a mid grey, and a lighter one that can still be seen on paper.
_HUES = {
    "black": "#000000",
    "brown": "#882255",
    "red": "#CC3311",
    "orange": "#D55E00",
    "yellow": "#999933",
    "green": "#009E73",
    "blue": "#0072B2",
    "violet": "#CC79A7",
    "grey": "#666666",
    "white": "#949494",
    "pink": "#EE3377",
    "turquoise": "#009988",
}


def hue_of_name(name: str) -> str | None:
    """The hue in which a colour called `name` is drawn, "#RRGGBB"; None for a name that says no colour."""
    return _HUES.get(name)


def _linear(channel: int) -> float:
    share = channel / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4


def luminance(hue: str) -> float:
    """Relative luminance of "#RRGGBB", 0 to 1 (WCAG 2.2, definition of relative luminance)."""
    red, green, blue = (_linear(int(hue[i : i + 2], 16)) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two hues, 1 to 21 (WCAG 2.2, definition of contrast ratio)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
