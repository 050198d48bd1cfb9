"""What the code itself must never hold: unpickling, evaluated text, YAML, calls to other machines."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILES = sorted(path for folder in ("optimizer", "ui") for path in (ROOT / folder).rglob("*.py"))

FORBIDDEN_MODULES = {
    # they run what a file says: documentation of pickle ("never unpickle untrusted data"), from memory
    *("pickle", "cPickle", "_pickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "yaml", "ruamel"),
    # other machines: this tool speaks to none; a cluster is reached by the name a caster gives
    *(
        "urllib",
        "requests",
        "httpx",
        "aiohttp",
        "ftplib",
        "smtplib",
        "telnetlib",
        "paramiko",
        "boto3",
        "xmlrpc",
    ),
    # other programs
    *("subprocess", "pty", "code", "codeop", "runpy"),
}
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "execfile", "input", "breakpoint"}
FORBIDDEN_METHODS = {"system", "popen", "read_pickle", "to_pickle", "unsafe_load", "literal_eval", "urlopen"}
SOCKET_USERS = {"ui/page_launcher.py"}
"""The page looks for a free port of this machine."""

OWN_PROCESS = {"ui/second_process.py": {"pickle", "subprocess"}}
"""The page starts a process of itself and speaks to it over pipes that no file and no one else writes to."""


def _trees() -> list[tuple[str, ast.Module]]:
    return [(str(path.relative_to(ROOT)), ast.parse(path.read_text(encoding="utf-8"))) for path in FILES]


def _imports(tree: ast.Module) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module)
    return names


def _faults(name: str, tree: ast.Module) -> list[str]:
    found = []
    for module in _imports(tree) - OWN_PROCESS.get(name, set()):
        top = module.split(".")[0]
        if top in FORBIDDEN_MODULES or module in ("http.client", "http.server"):
            found.append(f"{name} imports {module}")
        if top in ("socket", "socketserver", "ssl") and name not in SOCKET_USERS:
            found.append(f"{name} imports {module}")
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Name) and node.func.id in FORBIDDEN_CALLS:
            found.append(f"{name}:{node.lineno} calls {node.func.id}")
        if isinstance(node.func, ast.Attribute) and node.func.attr in FORBIDDEN_METHODS:
            found.append(f"{name}:{node.lineno} calls .{node.func.attr}")
        for keyword in node.keywords:
            trusting = keyword.arg in ("allow_pickle", "shell", "unsafe_allow_html")
            if trusting and isinstance(keyword.value, ast.Constant) and keyword.value.value:
                found.append(f"{name}:{node.lineno} passes {keyword.arg}")
    return found


def test_no_file_runs_what_it_reads_or_speaks_to_other_machines():
    assert FILES
    assert [fault for name, tree in _trees() for fault in _faults(name, tree)] == []


@pytest.mark.parametrize(
    "text",
    [
        "import pickle",
        "from yaml import safe_load",
        "def f():\n    import urllib.request",
        "x = eval('1')",
        "import os\nos.system('ls')",
        "pandas.read_pickle('x')",
        "numpy.load('x', allow_pickle=True)",
        "import socket",
        "st.markdown(text, unsafe_allow_html=True)",
    ],
)
def test_the_scan_sees_it(text):
    assert _faults("optimizer/x.py", ast.parse(text))
