# Recipes for builders; `just` alone runs what CI runs, `just --list` names the rest.

# Everything CI runs, in a fresh environment.
check:
    .ci/run

# What can be known within a minute: style, types, and the tests that take no time.
fast:
    ruff check .
    ruff format --check .
    mypy
    python -m pytest -q -x -n 2 tests/house tests/test_units.py tests/test_jobfile.py tests/test_jobfile_faults.py tests/properties tests/money tests/ui/test_cli_blends.py optimizer/units.py optimizer/errors.py

# From a fresh clone to green tests, by the two commands of the README; the clone is removed.
fresh:
    clone="$(mktemp -d)" && trap 'rm -rf "$clone"' EXIT && git clone -q . "$clone" && cd "$clone" && python3 -m venv .venv && .venv/bin/pip install -q '.[test]' && .venv/bin/vesselblend design && .venv/bin/python -m pytest -q

# Write the outputs of the README anew after a change that means it.
readme:
    UPDATE_README=1 python -m pytest -q tests/test_readme.py

# Change the code in 300 places, each tried by the tests that reach it, and name what none noticed; within the hour.
mutants:
    nice -n 19 python -m tests.trust.mutants --count 300

# Write the published schema of a job file anew after a change of its keys.
schema:
    python -c 'import json; from optimizer.jobfile import schema; print(json.dumps(schema(), indent=1, ensure_ascii=False))' > optimizer/job_schema.json

# Note the versions the tests ran with, for installs that repeat them exactly.
lock:
    python -m pip freeze --exclude-editable > .requirements.lock
