"""Job files: TOML text with units, read to a `Job` with all faults at once, and written back."""

from optimizer.jobfile.keys import schema
from optimizer.jobfile.reading import Complaint, complaints, parse_job, read_job
from optimizer.jobfile.writing import TEMPLATES, template, write_job

__all__ = [
    "TEMPLATES",
    "Complaint",
    "complaints",
    "parse_job",
    "read_job",
    "schema",
    "template",
    "write_job",
]
