"""A section of the vessel, drawn to scale: wall, base, wax, flame, and the temperatures of the wall."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from optimizer.job import Vessel
from optimizer.units import System, show_amount
from ui.plain_text import Html, tag

_LONGEST: Final = 190.0
"""Pixels of the longer of width and height."""

_LEFT, _TOP, _RIGHT, _BELOW = 96.0, 14.0, 150.0, 44.0
_FILL: Final = 0.9
"""Part of the inner height that the drawing fills with wax [-]; the drawing's own, nothing rests on it."""

_WAX, _FLAME = "#E9D48A", "#D9741A"


def vessel_section(
    vessel: Vessel, temperatures: Mapping[str, str], units: System, theme: Mapping[str, str]
) -> Html:
    """Return the section as an SVG picture.

    Parameters
    ----------
    temperatures
        Words beside the wall, outer first, by what they are of.
    """
    scale = _LONGEST / max(vessel.outer_diameter, vessel.height)
    wide, high = scale * vessel.outer_diameter, scale * vessel.height
    wall, base = scale * vessel.wall, scale * vessel.base
    inner = {"left": _LEFT + wall, "right": _LEFT + wide - wall, "floor": _TOP + high - base}
    level = inner["floor"] - _FILL * (high - base)
    body = (
        f"M{_LEFT:.1f} {_TOP} V{_TOP + high:.1f} H{_LEFT + wide:.1f} V{_TOP} H{inner['right']:.1f} "
        f"V{inner['floor']:.1f} H{inner['left']:.1f} V{_TOP} Z"
    )
    middle = _LEFT + 0.5 * wide
    parts = [
        tag("path", d=body, fill=theme["panel"], stroke=theme["text"], stroke_width="1.5"),
        tag(
            "rect",
            x=f"{inner['left']:.1f}",
            y=f"{level:.1f}",
            width=f"{inner['right'] - inner['left']:.1f}",
            height=f"{inner['floor'] - level:.1f}",
            fill=_WAX,
        ),
        tag("path", d=f"M{middle:.1f} {level:.1f} v-7", stroke=theme["text"], stroke_width="2"),
        tag(
            "path",
            d=f"M{middle:.1f} {level - 7:.1f} q-5 -7 0 -16 q5 9 0 16 Z",
            fill=_FLAME,
        ),
        *_measures(vessel, units, theme, (wide, high, wall)),
        *_beside(temperatures, theme, _LEFT + wide + 10.0),
    ]
    size = (_LEFT + wide + _RIGHT, _TOP + high + _BELOW)
    return tag(
        "svg",
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        width=f"{size[0]:.0f}",
        height=f"{size[1]:.0f}",
        viewBox=f"0 0 {size[0]:.0f} {size[1]:.0f}",
        font_family="sans-serif",
        font_size="12",
    )


def _measures(
    vessel: Vessel, units: System, theme: Mapping[str, str], size: tuple[float, float, float]
) -> list[Html]:
    wide, high, wall = size

    def said(length: float) -> str:
        return show_amount(length, "mm", 2, units)

    bottom = _TOP + high
    return [
        _rule(theme, f"M{_LEFT - 10:.1f} {_TOP} v{high:.1f}"),
        _text(said(vessel.height), _LEFT - 16.0, _TOP + 0.5 * high, theme, "end"),
        _rule(theme, f"M{_LEFT:.1f} {bottom + 10:.1f} h{wide:.1f}"),
        _text(said(vessel.outer_diameter), _LEFT + 0.5 * wide, bottom + 26.0, theme, "middle"),
        _text(f"wall {said(vessel.wall)}", _LEFT + wide + 10.0, _TOP + 12.0, theme),
        _rule(theme, f"M{_LEFT + wide - wall:.1f} {_TOP + 8.0} h{wall + 8:.1f}"),
        _text(f"base {said(vessel.base)}", _LEFT + wide + 10.0, bottom - 4.0, theme),
    ]


def _beside(temperatures: Mapping[str, str], theme: Mapping[str, str], left: float) -> list[Html]:
    return [
        _text(f"{name} {words}", left, _TOP + 60.0 + 20.0 * place, theme)
        for place, (name, words) in enumerate(temperatures.items())
    ]


def _text(words: str, x: float, y: float, theme: Mapping[str, str], anchor: str = "start") -> Html:
    return tag("text", words, x=f"{x:.1f}", y=f"{y:.1f}", fill=theme["text"], text_anchor=anchor)


def _rule(theme: Mapping[str, str], path: str) -> Html:
    return tag("path", d=path, stroke=theme["line"], stroke_width="1", fill="none")
