"""Thousands of scenarios of one job, from a grid or a table: each designed, answers streamed to a file."""

from optimizer.sweep.results_file import CsvResults, ParquetResults, ResultsFile, results_at
from optimizer.sweep.run import Progress, sweep
from optimizer.sweep.scenarios import Scenarios, read_scenarios
from optimizer.sweep.worker import Plan, header_of, plan_of, solve

__all__ = [
    "CsvResults",
    "ParquetResults",
    "Plan",
    "Progress",
    "ResultsFile",
    "Scenarios",
    "header_of",
    "plan_of",
    "read_scenarios",
    "results_at",
    "solve",
    "sweep",
]
