# Recipes for builders; `just` alone lists them.

default:
    @just --list

# Everything CI runs, in a fresh environment.
check:
    .ci/run

# What can be known within a minute: style, types, and the tests that take no time.
fast:
    ruff check .
    ruff format --check .
    mypy
    python -m pytest -q -x -n 2 tests/test_units.py tests/test_jobfile.py tests/test_jobfile_faults.py tests/properties tests/money tests/ui/test_cli_blends.py optimizer/units.py optimizer/errors.py

# Write the README's outputs and tables anew after a change that means it.
readme:
    UPDATE_README=1 python -m pytest -q tests/test_readme.py tests/house/test_sources_of_checks.py
