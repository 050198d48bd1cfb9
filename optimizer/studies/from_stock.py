"""The best that can be poured today: a job that takes no more than stands on the shelf."""

from __future__ import annotations

from dataclasses import replace

from optimizer.errors import Fault, FileFaults
from optimizer.job import Job
from optimizer.money.purchase import stock_limits

RESERVE = 0.01
"""Share of the shelf that is left for weighing in whole steps of the scale [fraction]."""


def from_stock(job: Job, vessels: int, where: str = "job") -> Job:
    """Return the job with the materials on the shelf alone, each as far as it goes.

    Parameters
    ----------
    job : Job
        The job; `Price.stock` says what stands on the shelf. What states no stock is not there.
    vessels : int
        Good vessels to make; rejects and waste draw on the same shelf [count].
    where : str
        Place named in a fault.

    Raises
    ------
    FileFaults
        When no material of the job is on the shelf.

    Examples
    --------
    10 kg for 100 vessels without rejects or waste, less the reserve: 99 g in each.

    >>> from optimizer.job import Price, Shop, Vessel
    >>> prices = {"gypsum_cement": Price(25.0, 40.0, stock=10.0), "silica_sand": Price(25.0, 7.0)}
    >>> asked = Job("", "EUR", tuple(prices), Vessel(215.0), Shop(reject=0, waste=0), prices=prices)
    >>> today = from_stock(asked, 100)
    >>> today.materials, today.shelf
    (('gypsum_cement',), {'gypsum_cement': 0.099})
    """
    most = stock_limits(job.prices, vessels, job.shop)
    there = tuple(name for name in job.materials if most.get(name, 0.0) > 0.0)
    if not there:
        repair = 'Give what stands on the shelf, such as stock = "12 kg", under [prices.<material>].'
        raise FileFaults([Fault(f"{where}:prices", "no stock", "a material on the shelf", repair)])
    return replace(job, materials=there, shelf={name: most[name] * (1.0 - RESERVE) for name in there})
