"""Thousands of scenarios of one job, from a grid or a table: each designed, answers streamed to a file."""

from optimizer.sweep.ledger import CsvLedger, Ledger
from optimizer.sweep.opening import ledger_at
from optimizer.sweep.parquet import ParquetLedger
from optimizer.sweep.run import Progress, sweep
from optimizer.sweep.scenarios import Scenarios, read_scenarios
from optimizer.sweep.worker import Plan, header_of, plan_of, solve

__all__ = [
    "CsvLedger",
    "Ledger",
    "ParquetLedger",
    "Plan",
    "Progress",
    "Scenarios",
    "header_of",
    "ledger_at",
    "plan_of",
    "read_scenarios",
    "solve",
    "sweep",
]
