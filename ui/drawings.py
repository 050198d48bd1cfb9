"""What the page draws in HTML: twenty dots for a chance, a blend as a bar, lines to weigh, limits by chance.

Every figure comes from the optimizer and every text is escaped (`ui.plain_text.tag`). Colors are those of a
theme (`ui.palette`), and none goes without a word or a shape: a part that fails is hatched.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from ui.plain_text import Html, tag

DOTS: Final = 20
"""Casts that a chance is told in."""

_BAR_PARTS: Final = ("holds", "second", "third", "line", "primary")
_ROW: Final = "display:flex;gap:0.3rem"
_LEAST_WORDS: Final = 0.12
"""Share from which a part of the bar has room for its name [-]."""

Theme = Mapping[str, str]


def dots_held(chance: float) -> int:
    """Return in how many of twenty casts something holds: all of them only where it is all but certain.

    Examples
    --------
    >>> dots_held(0.84), dots_held(0.98), dots_held(0.999), dots_held(0.004)
    (17, 19, 20, 0)
    """
    if chance >= 0.995:
        return DOTS
    return min(round(DOTS * chance), DOTS - 1)


def dots(chance: float, theme: Theme, *, sure: bool = True) -> Html:
    """Return a chance as a row of twenty dots, filled for the casts in which it holds.

    Where that is not `sure` enough no dot looks well: the filled ones are gray, the empty ones stand out.
    """
    held = dots_held(chance)
    size = "flex:0 1 0.95rem;aspect-ratio:1;border-radius:50%;box-sizing:border-box;"
    full = f"{size}background:{theme['holds' if sure else 'uncertain']}"
    empty = f"{size}border:{'2' if sure else '3'}px solid {theme['border' if sure else 'fails']}"
    row = [tag("span", style=full if place < held else empty) for place in range(DOTS)]
    return tag("div", *row, role="img", aria_label=f"{held} of {DOTS}", style=_ROW)


def blend_bar(shares: Mapping[str, float], theme: Theme, colors: Mapping[str, str]) -> Html:
    """Return a blend as one bar, its parts as wide as their shares of the powder [-], by name.

    `colors` says by name which color of the theme a material has, in every blend the same.
    """
    told = ", ".join(f"{name} {100.0 * share:.0f} %" for name, share in shares.items())
    parts = [
        tag(
            "span",
            f"{name} {100.0 * share:.0f} %" if share >= _LEAST_WORDS else "",
            style=f"flex:{share:.4f} 1 0;min-width:3px;overflow:hidden;white-space:nowrap;"
            "text-overflow:ellipsis;padding:0.15rem 0 0.15rem "
            f"{'0.5rem' if share >= _LEAST_WORDS else '0'};color:{theme['background']};"
            f"background:{theme[colors[name]]}",
        )
        for name, share in shares.items()
    ]
    style = "display:flex;gap:2px;border-radius:0.4rem;overflow:hidden;font-size:0.8rem;height:1.6rem"
    return tag("div", *parts, style=style, role="img", aria_label=told)


def bar_colors(names: Sequence[str]) -> dict[str, str]:
    """Return the color of each material in a blend's bar, by its place in the list of all of them.

    Examples
    --------
    >>> bar_colors(["gypsum", "sand"])["sand"]
    'second'
    """
    return {name: _BAR_PARTS[place % len(_BAR_PARTS)] for place, name in enumerate(names)}


@dataclass(frozen=True)
class WeighLine:
    """One line to weigh: what, how much, and what the scale shows after it."""

    name: str
    grams: str
    scale: str


def weigh_table(lines: Sequence[WeighLine], theme: Theme, beside: str = "scale shows") -> Html:
    """Return lines to weigh as a table, the grams in large figures, `beside` over the words beside them."""
    right = "text-align:right;"
    head = _row(
        "th",
        ("weigh", "amount", beside),
        ("text-align:left;", right, right),
        f"font-weight:600;font-size:0.8rem;color:{theme['line']};",
    )
    body = [
        tag(
            "tr",
            tag("th", line.name, scope="row", style=f"{_CELL}text-align:left;font-weight:400"),
            tag(
                "td",
                line.grams,
                class_="grams",
                style=f"{_CELL}{right}white-space:nowrap;font-size:1.25rem;font-weight:700",
            ),
            tag("td", line.scale, style=f"{_CELL}{right}{_WHOLE}color:{theme['line']}"),
            style=_line(theme),
        )
        for line in lines
    ]
    return tag("table", tag("thead", head), tag("tbody", *body), style=_TABLE, class_="weigh")


@dataclass(frozen=True)
class LimitLine:
    """One limit.

    Attributes
    ----------
    name, bound : str
        What is limited, and how.
    chance : float
        That it holds [-].
    told : str
        The chance in words.
    span : str
        Low end, best value and high end.
    verdict : str
        ``holds``, ``uncertain`` or ``fails``; or why it is not judged.
    fails_low : bool
        Whether it fails at the low end.
    judged : bool
        Whether it counts in the joint chance.
    takes_most : bool
        Whether it takes most of a joint chance that is not sure enough.
    """

    name: str
    bound: str
    chance: float
    told: str
    span: str
    verdict: str
    fails_low: bool
    judged: bool = True
    takes_most: bool = False


def limits_table(lines: Sequence[LimitLine], theme: Theme) -> Html:
    """Return limits as a table: each with its chance as a bar on one scale, the failing side hatched."""
    return tag(
        "table",
        tag("tbody", *(_limit_row(line, theme) for line in lines)),
        style=_TABLE,
        class_="limits",
    )


_CELL: Final = "border:0;padding:0.2rem 0.3rem;vertical-align:middle;line-height:1.35;"
_WHOLE: Final = "white-space:nowrap;"
_BOLD: Final = "font-weight:700;"
_LARGE: Final = f"{_WHOLE}{_BOLD}font-size:1.25rem"
_TABLE: Final = "width:100%;border-collapse:collapse;border:0;margin:0"


def _line(theme: Theme) -> str:
    return f"border:0;border-top:1px solid {theme['border']}55"


def _row(cell: str, texts: Sequence[str], styles: Sequence[str], common: str) -> Html:
    cells = (
        tag(cell, text, scope="col", style=f"{_CELL}{common}{style}")
        for text, style in zip(texts, styles, strict=True)
    )
    return tag("tr", *cells, style="border:0")


def _limit_row(line: LimitLine, theme: Theme) -> Html:
    """Return the row of one limit: gray, for it is the verdict on all of them together that counts.

    What a limit takes from that stands out: the part of its bar that fails, a limit that fails, and the one
    that takes most where all together are not sure enough.
    """
    color = theme["fails" if line.takes_most or line.verdict == "fails" else "text"]
    small = f"font-size:0.8rem;color:{theme['line']}"
    bar = _chance_bar(line, theme) if line.judged else _open_bar(theme)
    word = theme["fails" if line.verdict == "fails" else "text"]
    weight = "font-weight:400;" if line.verdict == "holds" else _BOLD
    loud = f"font-size:0.8rem;{_BOLD}color:{color}"
    most = (tag("div", "takes most", style=loud),) if line.takes_most else ()
    return tag(
        "tr",
        tag(
            "th",
            line.name,
            tag("div", line.bound, style=small),
            scope="row",
            style=f"{_CELL}text-align:left;font-weight:400;width:31%",
        ),
        tag(
            "td",
            line.told,
            style=f"{_CELL}text-align:right;font-weight:700;white-space:nowrap;color:{color};width:15%",
        ),
        tag("td", bar, tag("div", line.span, style=f"{small};margin-top:0.15rem"), style=_CELL),
        tag("td", line.verdict, *most, style=f"{_CELL}{weight}color:{word};width:18%"),
        style=_line(theme),
    )


def _chance_bar(line: LimitLine, theme: Theme) -> Html:
    """Return a bar of the whole of all casts: plain where the limit holds, hatched where it fails."""
    hatch = (
        f"repeating-linear-gradient(135deg,{theme['fails']} 0 3px,{theme['background']} 3px 6px);"
        f"border:1px solid {theme['fails']}"
    )
    holds = tag("span", style=f"flex:{line.chance:.4f} 1 0;background:{theme['uncertain']}")
    fails = tag("span", style=f"flex:{1.0 - line.chance:.4f} 1 0;background:{hatch}")
    edge = tag("span", style=f"width:2px;margin:-3px 0;background:{theme['text']}")
    both = (fails, edge, holds) if line.fails_low else (holds, edge, fails)
    inside = (holds,) if line.chance >= 0.995 else both
    told = f"holds in {100.0 * line.chance:.0f} of 100 casts"
    return tag("div", *inside, style="display:flex;height:0.7rem", role="img", aria_label=told)


def _open_bar(theme: Theme) -> Html:
    return tag("div", style=f"height:0.7rem;border:1px dashed {theme['line']}")
