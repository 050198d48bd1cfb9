"""The one place where text becomes markup: what others wrote is shown as it was written.

Streamlit reads the text of nearly every element as markdown, in which a title, a powder's label or the words
of a fault could fetch a picture from elsewhere, or pass for a link or a heading of the page. Texts therefore
reach the page through `plain`, or through `marked` and `bullets`, whose own words alone carry markup; a test
of the house finds calls that do not. What is drawn in HTML is built of `tag`, which escapes every text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from html import escape
from typing import Final

_JOINER: Final = "\u2060"
"""Word joiner: not seen, and keeps two signs from being read together."""

_ANYWHERE: Final = re.compile(
    r"[\\`*\[\]{}~$|]"
    r"|<(?=[A-Za-z/!?])"
    r"|&(?=[#\w])"
    r"|:(?=[A-Za-z])"
    r"|(?<![^\W_])_|_(?![^\W_])"
)
"""Signs that begin or end markup wherever they stand; an underscore inside a word begins none."""

_LINE_START: Final = re.compile(r"^(?:(?=[#>=]|[-+](?:[-+\s]|$))|([0-9]+)(?=[.)](?:\s|$)))", re.MULTILINE)
"""Where a line would become a heading, a list, a quotation or a rule."""

_FOUND_LATER: Final = re.compile(
    r"(?<=:)(?=//)|(?<=www)(?=\.)|(?<=\w)(?=@[\w.-]+\.[A-Za-z])|(?<=\\:)(?=[\w+/-]+:)|(?<=[<-])(?=[->])",
    re.IGNORECASE,
)
"""Places inside addresses, symbols by name and arrows, which are looked for once all markup has been read."""


def plain(text: str) -> str:
    r"""Return a text so that it shows letter by letter as markdown; lines stay lines.

    Examples
    --------
    >>> plain("![x](http://pages.example)")
    '!\\[x\\](http:\u2060//pages.example)'
    >>> plain("gypsum_cement <= 60 min"), plain("7.54 EUR"), plain("-5 K")
    ('gypsum_cement <= 60 min', '7.54 EUR', '-5 K')
    >>> plain("# 1"), plain("1. one"), plain("- two")
    ('\\# 1', '1\\. one', '\\- two')
    """
    lines = "\n".join(line.strip() for line in str(text).splitlines() if line.strip())
    escaped = _LINE_START.sub(lambda found: f"{found[1] or ''}\\", _ANYWHERE.sub(r"\\\g<0>", lines))
    return _FOUND_LATER.sub(_JOINER, escaped).replace("\n", "  \n")


def marked(template: str, *texts: str) -> str:
    r"""Return a text of the page's own, markup and all, with others' texts in its places ``{}``.

    Examples
    --------
    >>> marked("**Blend:** {}", "2 * 3")
    '**Blend:** 2 \\* 3'
    """
    return template.format(*map(plain, texts))


def bullets(texts: Iterable[str]) -> str:
    r"""Return texts as a list.

    Examples
    --------
    >>> bullets(["a", "- b"])
    '- a\n- \\- b'
    """
    return "\n".join(f"- {plain(text)}" for text in texts)


def named(texts: Mapping[str, str]) -> str:
    r"""Return texts as a list, each after its name.

    Examples
    --------
    >>> named({"a": "b", "c": "*"})
    '- **a**: b\n- **c**: \\*'
    """
    return "\n".join(marked("- **{}**: {}", *each) for each in texts.items())


def paragraphs(texts: Iterable[str]) -> str:
    r"""Return texts as paragraphs, empty ones left out.

    Examples
    --------
    >>> paragraphs(["a", "", "b"])
    'a\n\nb'
    """
    return "\n\n".join(plain(text) for text in texts if text)


class Html(str):
    """Markup built by `tag`: every text in it is escaped."""


def tag(name: str, *inside: str, **attributes: str) -> Html:
    """Return an element of HTML around texts, which are escaped, and other elements, which are kept.

    Parameters
    ----------
    attributes
        By name, a low line for a hyphen and one at the end for none: ``aria_label``, ``class_``.

    Examples
    --------
    >>> tag("td", tag("b", "1 < 2"), " <img>", title='"x"')
    '<td title="&quot;x&quot;"><b>1 &lt; 2</b> &lt;img&gt;</td>'
    """
    named = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"' for key, value in attributes.items()
    )
    texts = "".join(each if isinstance(each, Html) else escape(each) for each in inside)
    return Html(f"<{name}{named}>{texts}</{name}>")
