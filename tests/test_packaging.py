"""The wheel holds all it needs and runs from any folder."""

from __future__ import annotations

import ast
import configparser
import json
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel of this checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    words = [
        "wheel",
        str(ROOT),
        "--no-deps",
        "--no-build-isolation",
        "--no-cache-dir",
        "-q",
        "-w",
        str(folder),
    ]
    subprocess.run([sys.executable, "-m", "pip", *words], check=True, cwd=folder, timeout=300)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the wheel away from the checkout; what it depends on comes from this environment."""
    folder = tmp_path_factory.mktemp("installed")
    words = ["install", "--no-deps", "--no-index", "-q", "--target", str(folder), str(wheel)]
    subprocess.run([sys.executable, "-m", "pip", *words], check=True, cwd=folder, timeout=300)
    return folder


def _run(installed: Path, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(installed)}
    return subprocess.run(words, env=env, cwd=folder, capture_output=True, text=True, timeout=120)


def _tracked(*folders: str) -> set[str]:
    return {
        path.relative_to(ROOT).as_posix()
        for folder in folders
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_the_wheel_holds_code_specs_and_templates_and_no_more(wheel: Path) -> None:
    names = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    specs = {f"optimizer/{name}" for name in _tracked("material_specs")}
    assert names == _tracked("optimizer", "ui") | specs


def test_the_command_is_an_entry_point(wheel: Path) -> None:
    archive = zipfile.ZipFile(wheel)
    (name,) = (name for name in archive.namelist() if name.endswith("entry_points.txt"))
    parser = configparser.ConfigParser()
    parser.read_string(archive.read(name).decode())
    assert parser["console_scripts"]["vesselblend"] == "ui.__main__:main"


def test_the_installed_command_runs_from_another_folder(installed: Path, tmp_path: Path) -> None:
    command = str(installed / "bin" / "vesselblend")
    version = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    assert _run(installed, tmp_path, command, "--version").stdout == f"vesselblend {version}\n"
    where = _run(
        installed,
        tmp_path,
        sys.executable,
        "-c",
        "import optimizer, ui; print(optimizer.__file__, ui.__file__)",
    )
    assert all(path.startswith(str(installed)) for path in where.stdout.split())
    listed = _run(installed, tmp_path, command, "materials", "--json")
    assert listed.returncode == 0, listed.stderr
    sources = _run(installed, tmp_path, command, "materials", "--sources", "--json")
    assert sources.returncode == 0, sources.stderr
    assert json.loads(sources.stdout)["properties"]
    files = {path.stem for path in (ROOT / "material_specs").glob("*.toml")}
    assert {each["name"] for each in json.loads(listed.stdout)["materials"]} == files - {"model", "sources"}


def test_templates_travel_with_the_wheel(installed: Path, tmp_path: Path) -> None:
    command = str(installed / "bin" / "vesselblend")
    assert _run(installed, tmp_path, command, "init", "demo.toml", "--demo").returncode == 0
    blend = ("--blend", "gypsum_cement=3, marble_flour=1")
    card = _run(installed, tmp_path, command, "card", "demo.toml", *blend)
    assert card.returncode == 0, card.stderr
    assert card.stdout.startswith("<!DOCTYPE html>")
    checked = _run(installed, tmp_path, sys.executable, "-m", "ui", "check", "demo.toml", *blend, "--json")
    assert json.loads(checked.stdout)["status"] in ("holds", "uncertain", "fails")


def test_every_third_party_import_is_a_dependency() -> None:
    # PIL, altair and pyarrow come with streamlit, distributed with dask; the index spells tomli_w otherwise
    given = {
        "PIL": "streamlit",
        "altair": "streamlit",
        "pyarrow": "streamlit",
        "distributed": "dask",
        "tomli_w": "tomli-w",
    }
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"]
    stated = {re.split(r"[\[<>=~ ]", x)[0] for x in (*project["dependencies"], *extras["cluster"])}
    used = {
        name
        for path in (*ROOT.glob("optimizer/**/*.py"), *ROOT.glob("ui/**/*.py"))
        for name in _imported(path)
    }
    foreign = used - sys.stdlib_module_names - {"optimizer", "ui"}
    assert {given.get(name, name) for name in foreign} <= stated


def _imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.module.partition(".")[0]
