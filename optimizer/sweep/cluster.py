"""The workers of a Dask cluster that runs already, on as many machines as it has."""

from __future__ import annotations

from concurrent.futures import BrokenExecutor, CancelledError
from importlib import import_module
from typing import Any, Final

from optimizer.errors import VesselblendError
from optimizer.sweep.crews import AHEAD, Promise, Rows, Stretch
from optimizer.sweep.worker import Plan, Refused, solve

__all__ = ["DaskCrew"]

_PATIENCE: Final = 30.0
"""How long to wait for the scheduler and a first worker [s]."""

_LOST: Final = "The cluster was lost. What was answered before is kept; the same command goes on from there."


class DaskCrew:
    """Workers behind one scheduler; what a lost worker was at goes to another.

    Raises
    ------
    VesselblendError
        If the cluster cannot be reached, or Dask is not installed.
    """

    def __init__(self, address: str) -> None:
        try:
            dask = import_module("distributed")
        except ImportError:
            raise VesselblendError(
                'A cluster needs Dask: pip install "vesselblend[cluster]", on every machine.'
            ) from None
        self._losses = (*_losses(dask), CancelledError, OSError)
        try:
            self._client = dask.Client(address, timeout=_PATIENCE, set_as_default=False)
            self._client.wait_for_workers(1, timeout=_PATIENCE)
        except (OSError, ValueError) as error:  # a timeout is one
            reason = str(error) or type(error).__name__
            raise VesselblendError(
                f"No Dask cluster with a worker answers at {address}: {reason}. "
                "Start it first, such as with: dask scheduler; dask worker ADDRESS"
            ) from None
        threads: dict[str, int] = self._client.nthreads()
        self.ahead = AHEAD * max(1, sum(threads.values()))

    def submit(self, plan: Plan, stretch: Stretch) -> Promise:
        """Hand scenarios over."""
        return _DaskPromise(self._client.submit(solve, plan, stretch, pure=False), self._losses)

    def renew(self) -> None:
        """Say that it is over: Dask replaces workers by itself as long as it can."""
        raise VesselblendError(_LOST)

    def close(self, at_once: bool = False) -> None:
        """Leave the cluster as it is, without our scenarios."""
        self._client.close()


class _DaskPromise:
    def __init__(self, future: Any, losses: tuple[type[BaseException], ...]) -> None:  # noqa: ANN401  untyped
        self._future, self._losses = future, losses

    def done(self) -> bool:
        return bool(self._future.done())

    def result(self) -> Rows | Refused:
        try:
            answer: Rows | Refused = self._future.result()
        except self._losses as error:
            raise BrokenExecutor(str(error)) from None
        return answer


def _losses(dask: Any) -> tuple[type[BaseException], ...]:  # noqa: ANN401  an untyped library
    """Errors that say the cluster, not the scenario, is at fault."""
    return (
        dask.CancelledError,
        import_module("distributed.comm").CommClosedError,
        import_module("distributed.scheduler").KilledWorker,
    )
