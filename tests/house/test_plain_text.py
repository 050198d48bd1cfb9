"""Texts reach the page through `ui.plain_text`: no call hands Streamlit a text to be read as markup."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = sorted(
    path for path in (ROOT / "ui").rglob("*.py") if "import streamlit" in path.read_text(encoding="utf-8")
)
SHOWING = {
    *("markdown", "write", "title", "header", "subheader", "caption", "error", "warning", "info", "success"),
    *("button", "form_submit_button", "download_button", "page_link", "metric", "expander", "spinner"),
    *("checkbox", "toggle", "radio", "pills", "segmented_control", "selectbox", "multiselect", "slider"),
    *("text_input", "text_area", "number_input", "date_input", "file_uploader", "toast", "popover", "status"),
    *("badge", "progress", "feedback", "color_picker", "time_input", "select_slider", "dialog", "tabs"),
    "html",
}
"""Calls of Streamlit that read a text as markdown."""

OPTIONS = {"radio", "pills", "segmented_control"}
"""Those whose options are read as markdown, too."""

TEXTS = {"label", "body", "text", "help", "value"}
SAID = {"plain", "marked", "bullets", "named", "paragraphs", "tag"}


def said(node: ast.AST) -> bool:
    """Tell whether a text is the page's own, or went through `ui.plain_text`."""
    if isinstance(node, ast.Constant):
        return True
    if isinstance(node, ast.IfExp):
        return said(node.body) and said(node.orelse)
    if isinstance(node, ast.BinOp):
        return said(node.left) and said(node.right)
    if isinstance(node, ast.Lambda):
        return said(node.body)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in SAID:
        return node.func.id != "marked" or isinstance(node.args[0], ast.Constant)
    return False


def shown(call: ast.Call) -> str:
    """Return the name of the call of Streamlit that a call is; empty for others."""
    options = [call.func.body, call.func.orelse] if isinstance(call.func, ast.IfExp) else [call.func]
    return next(
        (each.attr for each in options if isinstance(each, ast.Attribute) and each.attr in SHOWING), ""
    )


def unsaid(tree: ast.AST) -> Iterator[ast.AST]:
    """Give the texts of calls that show them as they are."""
    for call in (node for node in ast.walk(tree) if isinstance(node, ast.Call)):
        name = shown(call)
        if not name:
            continue
        texts = call.args[: 2 if name == "metric" else 1]
        texts += [each.value for each in call.keywords if each.arg in TEXTS and not _figure(name, each.arg)]
        if name in OPTIONS:
            texts += [each.value for each in call.keywords if each.arg == "format_func"]
        yield from (text for text in texts if not said(text))


def _figure(name: str, argument: str | None) -> bool:
    """Tell whether an argument is the value of a field, which is shown as it is."""
    return argument == "value" and name != "metric"


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_every_text_goes_through_plain_text(path):
    found = [ast.unparse(each) for each in unsaid(ast.parse(path.read_text(encoding="utf-8")))]
    assert not found, f"{path.name}: wrap these in plain, marked or bullets of ui.plain_text: {found}"


@pytest.mark.parametrize(
    "code",
    [
        "st.error(str(fault))",
        "st.markdown(f'### {title}')",
        "slot.caption(words)",
        "st.markdown(marked(title, words))",
        "(st.success if done else st.error)(words)",
        "st.pills('a', names, format_func=label_of)",
        "st.text_input('a', help=field.hint)",
        "st.metric('a', words)",
        "st.html(f'<b>{title}</b>')",
    ],
)
def test_a_call_that_goes_around_is_found(code):
    assert list(unsaid(ast.parse(code)))
