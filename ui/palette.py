"""Colors of the page, light and dark, and of the charts by the part they play.

The hues of the charts are those of Okabe and Ito (2008), told apart with every kind of color sight, darkened
or lightened until each reads as text on its page (4.5 to 1, WCAG 2.1). A test measures it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

PARTS: Final = ("holds", "uncertain", "fails", "text", "second", "third", "line")
"""What a mark of a chart stands for, in the order of the theme's chart colors."""

STYLE: Final = """
[data-testid=stMainBlockContainer] { padding-left: 2rem; padding-right: 2rem; }
@media (max-width: 640px) { [data-testid=stMainBlockContainer] { padding-left: 1rem; padding-right: 1rem; } }
.st-key-strip p { font-size: 0.85rem; line-height: 1.4; }
.st-key-selected_card { position: sticky; top: 4.5rem; }
.st-key-worth { min-height: 7.5rem; }
.st-key-why { min-height: 13rem; }
[data-testid=stMain] h1 { padding-top: 0; padding-bottom: 0.3rem; }
[data-testid=stMain] h3 { padding-top: 0; padding-bottom: 0.4rem; }
"""
"""Room around the page: less than the framework's, so that the first screen holds grams and limits. What
is told later has its room kept, so that nothing below it jumps."""

LIGHT: Final[Mapping[str, str]] = {
    "primary": "#8A4B12",
    "background": "#FFFFFF",
    "panel": "#F3F1ED",
    "border": "#8C8A85",
    "link": "#7A3F0C",
    "holds": "#0069A6",
    "uncertain": "#666562",
    "fails": "#B84A00",
    "text": "#1B1B1A",
    "second": "#00724F",
    "third": "#96457E",
    "line": "#55534F",
}
DARK: Final[Mapping[str, str]] = {
    "primary": "#E9A15B",
    "background": "#161615",
    "panel": "#242322",
    "border": "#85827C",
    "link": "#F0B57C",
    "holds": "#56B4E9",
    "uncertain": "#A9A7A2",
    "fails": "#F08B3E",
    "text": "#F4F2EE",
    "second": "#35C79A",
    "third": "#DD9AC0",
    "line": "#BDBAB3",
}


def chart_colors(theme: Mapping[str, str]) -> list[str]:
    """Return the chart colors of a theme in the order of `PARTS`."""
    return [theme[part] for part in PARTS]
