"""Design, check and cost cast candle-vessel blends; see README.md for the job it does.

A session reads the figures, reads a job, and asks:

    >>> from optimizer import check, design, load_catalogue, read_job, template
    >>> catalogue = load_catalogue()                      # the shipped materials
    >>> job = read_job(template("demo"), catalogue)       # or the path of a job file of your own
    >>> present = check(job, {"gypsum_cement": 68, "silica_sand": 32}, catalogue, water_ratio=0.26)
    >>> present.status
    'fails'
    >>> present.table().loc["demold_time", "unit"]
    'min'

The questions, each answered with one frozen record:

- ``design(job, catalogue)``: the best blend that meets the limits, a `Solution`
- ``check(job, blend, catalogue)``: the verdict on a blend, a `Solution`
- ``compare(present, candidate)``: two checked blends side by side, a `Comparison`
- ``frontier(job, catalogue, over)``: blends that trade two or three quantities, a `Frontier`
- ``order(job, catalogue, vessels, due)``: days, molds and bags of an order, an `OrderAnswer`
- ``calibrate(book, catalogue, job)``: what the trials of a book teach, a `Fit`; hand
  ``parameter_set(fit.calibration, catalogue, job.materials)`` to any question to have it answered so

A question here is asked with the shipped figures unless it is handed `parameters`, whatever fit the job
names; ``fitted_parameters(job, catalogue, folder)`` gives those of the fit named, as commands and page ask.

Every record shows itself as a small table in a notebook, and ``record.table()`` is a data frame. Figures
are in the units of `QUANTITIES`. Faults in files come together as one `FileFaults`, each with its repair.
A prediction is not a test: read a solution's cautions before you pour.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from optimizer.calibration.files import fitted_parameters as fitted_parameters
    from optimizer.calibration.fit import Fit as Fit
    from optimizer.calibration.record import Calibration as Calibration
    from optimizer.calibration.record import parameter_set as parameter_set
    from optimizer.errors import FileFaults as FileFaults
    from optimizer.errors import NoBlend as NoBlend
    from optimizer.errors import NoVerdict as NoVerdict
    from optimizer.job import Job as Job
    from optimizer.job import Limit as Limit
    from optimizer.jobfile import parse_job as parse_job
    from optimizer.jobfile import read_job as read_job
    from optimizer.jobfile import template as template
    from optimizer.jobfile import write_job as write_job
    from optimizer.materials import Catalogue as Catalogue
    from optimizer.nomenclature import CAUTIONS as CAUTIONS
    from optimizer.nomenclature import QUANTITIES as QUANTITIES
    from optimizer.notebook import calibrate as calibrate
    from optimizer.notebook import frontier as frontier
    from optimizer.notebook import order as order
    from optimizer.solution import Solution as Solution
    from optimizer.specs import load_catalogue as load_catalogue
    from optimizer.studies.check import Comparison as Comparison
    from optimizer.studies.check import check as check
    from optimizer.studies.check import compare as compare
    from optimizer.studies.design import design as design
    from optimizer.studies.frontier import Frontier as Frontier
    from optimizer.studies.order_blends import OrderAnswer as OrderAnswer
    from optimizer.trials.book import TrialBook as TrialBook
    from optimizer.trials.records import Portion as Portion
    from optimizer.trials.records import Strength as Strength
    from optimizer.trials.records import Trial as Trial

__all__ = [
    "CAUTIONS",
    "QUANTITIES",
    "Calibration",
    "Catalogue",
    "Comparison",
    "FileFaults",
    "Fit",
    "Frontier",
    "Job",
    "Limit",
    "NoBlend",
    "NoVerdict",
    "OrderAnswer",
    "Portion",
    "Solution",
    "Strength",
    "Trial",
    "TrialBook",
    "calibrate",
    "check",
    "compare",
    "design",
    "fitted_parameters",
    "frontier",
    "load_catalogue",
    "order",
    "parameter_set",
    "parse_job",
    "read_job",
    "template",
    "write_job",
]

_HOMES: Final = {
    "Calibration": "calibration.record",
    "CAUTIONS": "nomenclature",
    "Catalogue": "materials",
    "Comparison": "studies.check",
    "FileFaults": "errors",
    "Fit": "calibration.fit",
    "Frontier": "studies.frontier",
    "Job": "job",
    "Limit": "job",
    "NoBlend": "errors",
    "NoVerdict": "errors",
    "OrderAnswer": "studies.order_blends",
    "Portion": "trials.records",
    "Strength": "trials.records",
    "QUANTITIES": "nomenclature",
    "Solution": "solution",
    "Trial": "trials.records",
    "TrialBook": "trials.book",
    "calibrate": "notebook",
    "check": "studies.check",
    "compare": "studies.check",
    "design": "studies.design",
    "fitted_parameters": "calibration.files",
    "frontier": "notebook",
    "load_catalogue": "specs",
    "order": "notebook",
    "parameter_set": "calibration.record",
    "parse_job": "jobfile",
    "read_job": "jobfile",
    "template": "jobfile",
    "write_job": "jobfile",
}
"""Where each name lives: it is imported when first asked for, so that ``import optimizer`` costs nothing."""


def __getattr__(name: str) -> object:
    """Import a public name from where it lives."""
    if name not in _HOMES:
        raise AttributeError(f"module 'optimizer' has no name {name!r}; it has {', '.join(__all__)}")
    found = getattr(import_module(f"optimizer.{_HOMES[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """List the public names, loaded or not."""
    return sorted({*globals(), *__all__})
