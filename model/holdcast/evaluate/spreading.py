"""Spreading refits over worker processes, of this machine or of a scheduler's, with Dask."""

import logging
import sys
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import partial
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.progress import Progress, silent
from holdcast.evaluate.campaign_refits import Arriving, RunRefits, told_steps
from holdcast.evaluate.hiding import Hiding, hidden_labels
from holdcast.evaluate.worker_refits import Differs, refit_on_worker, work_of

if TYPE_CHECKING:
    from distributed import Client, LocalCluster

__all__ = [
    "HOST",
    "REQUIREMENT",
    "LostWorkersError",
    "SpreadError",
    "local_cluster",
    "over_workers",
    "spread",
]

HOST = "127.0.0.1"
"""Where a cluster of our own listens: whoever reaches a scheduler can run programs as its user."""
PATIENCE = 20.0
"""Wait for a scheduler to answer, and then for its first worker [s] (a choice)."""
REQUIREMENT = "distributed>=2026.8"
"""The package's extra `spread`."""


class SpreadError(Exception):
    """Refits cannot be spread as asked; the message says why and what to do."""


class LostWorkersError(SpreadError):
    """Workers or their scheduler went away for good; what had arrived is kept."""


def over_workers(workers: int, scheduler: str | None = None) -> RunRefits:
    """Return what runs refits on workers instead of in this process.

    Parameters
    ----------
    workers : int
        Processes to start on this machine when there is no `scheduler`.
    scheduler : str or None
        Address of a running Dask scheduler, such as ``"tcp://127.0.0.1:8786"``, whose workers have this
        very version of the program.

    Returns
    -------
    callable
        For :func:`holdcast.evaluate.campaign_refits.evaluate_campaign`.

    Raises
    ------
    SpreadError
        When Dask is not installed; when the refits begin also if the scheduler does not answer, no worker
        has joined it, or a worker differs.
    """
    _need_dask()
    return partial(_run, workers, scheduler)


def _run(
    workers: int,
    scheduler: str | None,
    campaign: Campaign,
    inputs: xr.Dataset,
    missing: Sequence[Hiding],
    seed: int,
    progress: Progress,
) -> Arriving:
    work = work_of(campaign, inputs, seed)
    tasks = [(work, each.kind, each.label, hidden_labels(inputs, each)) for each in missing]
    arrived = spread(refit_on_worker, tasks, workers=workers, scheduler=scheduler, progress=progress)
    tell = told_steps(missing)
    for place, outcome in arrived:
        progress(f"done, {tell(missing[place])}")
        yield missing[place], outcome


def spread(
    function: Callable[..., Any],
    tasks: Sequence[tuple[Any, ...]],
    *,
    workers: int,
    scheduler: str | None = None,
    progress: Progress = silent,
) -> Generator[tuple[int, Any]]:
    """Call a function in worker processes, once for each task.

    A task whose worker dies is given to another; after the fourth death it is taken to be the cause.

    Parameters
    ----------
    function : callable
        Known to the workers by its import.
    tasks : sequence of tuple
        The arguments of each call.
    workers : int
        Processes to start on this machine when there is no `scheduler`.
    scheduler : str or None
        Address of a running scheduler.
    progress : callable
        Told how many workers there are and when one is lost.

    Yields
    ------
    tuple of int and object
        A task's place and what its call returned, in the order of arrival.

    Raises
    ------
    SpreadError
        When the scheduler does not answer, no worker has joined it, or a worker differs.
    LostWorkersError
        When a task cost four workers their lives, or the scheduler went away.
    """
    from distributed import as_completed

    with _client(workers, scheduler) as client, _told_in_words():
        alive = set(_workers(client))
        progress(
            f"{len(tasks)} fits spread over {len(alive)} worker{'s' * (len(alive) != 1)} at "
            f"{client.scheduler.address}; each compiles the model once: "
            "most of a minute the first time, a few seconds later"
        )
        places = {client.submit(function, *task, pure=False): place for place, task in enumerate(tasks)}
        for future in as_completed(places, loop=client.loop):
            result = future.result()
            alive = _tell_of_the_lost(alive, set(_workers(client)), progress)
            yield places[future], result


@contextmanager
def _told_in_words() -> Iterator[None]:
    from distributed.client import FutureCancelledError
    from distributed.comm import CommClosedError
    from distributed.scheduler import KilledWorker

    try:
        yield
    except KilledWorker as error:
        raise LostWorkersError(
            "one refit ended its worker process four times; is the memory enough? What was done is kept: "
            "run again with fewer --workers"
        ) from error
    except (FutureCancelledError, CommClosedError) as error:
        raise LostWorkersError(
            "the scheduler went away; what was done is kept: start it and run again"
        ) from error
    except Differs as error:
        raise SpreadError(str(error)) from error


def _workers(client: "Client") -> list[str]:
    return list(client.scheduler_info(n_workers=-1)["workers"])


def _tell_of_the_lost(before: set[str], now: set[str], progress: Progress) -> set[str]:
    lost = len(before - now)
    if lost:
        progress(f"lost {lost} worker process{'es' * (lost > 1)}; what it was doing is done again by another")
    return now


@contextmanager
def local_cluster(workers: int) -> Iterator["LocalCluster"]:
    """Start worker processes that only this machine can reach, without a dashboard, and end them afterwards.

    Parameters
    ----------
    workers : int
        How many, one refit at a time each.
    """
    import dask
    from distributed import LocalCluster

    settings: dict[str, object] = {
        # Left to itself Dask changes the number of threads of linear algebra, and with it the last digits.
        "distributed.nanny.pre-spawn-environ": {},
        "distributed.scheduler.http.routes": [],
        "distributed.worker.http.routes": [],
    }
    with (
        dask.config.set(settings),
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            host=HOST,
            dashboard_address=f"{HOST}:0",
            scheduler_kwargs={"dashboard": False},
            memory_limit=None,
            silence_logs=logging.CRITICAL,
        ) as cluster,
    ):
        yield cluster


@contextmanager
def _client(workers: int, scheduler: str | None) -> Iterator["Client"]:
    from distributed import Client
    from distributed.utils import silence_logging_cmgr

    # No client is the process's default: one that never came to be would stay so for whatever uses dask next.
    with ExitStack() as stack:
        if scheduler is None:
            cluster = stack.enter_context(local_cluster(workers))
            yield stack.enter_context(Client(cluster, set_as_default=False))
            return
        # What goes wrong is told in our own words; its log would show a traceback as well.
        stack.enter_context(silence_logging_cmgr(logging.CRITICAL))
        try:
            client = stack.enter_context(Client(scheduler, timeout=PATIENCE, set_as_default=False))
        except (OSError, ValueError) as error:
            raise SpreadError(
                f"no scheduler answers at {scheduler!r}; start one with `dask scheduler --host {HOST} "
                "--no-dashboard` and give the address that it shows"
            ) from error
        try:
            client.wait_for_workers(1, timeout=PATIENCE)
        except TimeoutError as error:
            raise SpreadError(
                f"no worker has joined {scheduler} within {PATIENCE:.0f} s; start one with "
                f"`dask worker {scheduler} --nthreads 1`"
            ) from error
        yield client


def _need_dask() -> None:
    if find_spec("distributed") is not None:
        return
    # Environments made by uv have no pip of their own.
    uv = f"uv pip install --python {sys.executable}"
    installer = f"{sys.executable} -m pip install" if find_spec("pip") else uv
    raise SpreadError(
        f"--workers and --scheduler need one more package; install it with: {installer} '{REQUIREMENT}'"
    )
