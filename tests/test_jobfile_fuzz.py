"""Anything at all in place of a job file: it reads, or it is refused with faults, never a traceback."""

from __future__ import annotations

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from optimizer.errors import FileFaults
from optimizer.jobfile import TEMPLATES, parse_job, read_job, template
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP, VESSEL
from optimizer.nomenclature import PROPERTIES
from tests.jobfile_samples import CATALOGUE, DRY


def assert_refused_or_read(text: str) -> None:
    """Read the text as a job; faults are fine when each is one line."""
    try:
        parse_job(text, CATALOGUE, "job.toml")
    except FileFaults as error:
        lines = str(error).splitlines()
        assert len(lines) == len(error.faults) > 0, lines  # noqa: PT017  a job that is read raises nothing


@settings(max_examples=150, deadline=None)
@given(content=st.binary(max_size=200))
def test_random_bytes_are_refused_not_tripped_over(tmp_path_factory, content):
    path = tmp_path_factory.getbasetemp() / "random.toml"
    path.write_bytes(content)
    with pytest.raises(FileFaults):
        read_job(path, CATALOGUE)


SCALARS = (
    st.none().map(lambda _: "")
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.datetimes()
    | st.sampled_from(
        ["<= 3 min", ">= low", "25 kg", "1,5", "5 %", "-3 /h", "1e999 g", "9" * 300, "gypsum_cement"]
    )
)
NAMES = st.sampled_from(
    [*TOP, *PROPERTIES, *DRY, *(key.name for keys in (VESSEL, CANDLE, SHOP, PRICE, BOUNDS) for key in keys)]
)
TREES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(NAMES | st.text(max_size=5), inner, max_size=4)
    ),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(NAMES, TREES, max_size=6))
def test_random_tables_are_refused_not_tripped_over(data):
    try:
        text = tomli_w.dumps(data)
    except UnicodeEncodeError:  # a lone surrogate has no TOML
        return
    assert_refused_or_read(text)


@settings(max_examples=150, deadline=None)
@given(
    name=st.sampled_from(TEMPLATES),
    cuts=st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 40), st.text(max_size=6)), min_size=1, max_size=4
    ),
)
def test_damaged_job_files_are_refused_not_tripped_over(name, cuts):
    text = template(name)
    for place, length, insert in cuts:
        start = int(place * len(text))
        text = text[:start] + insert + text[start + length :]
    assert_refused_or_read(text)
