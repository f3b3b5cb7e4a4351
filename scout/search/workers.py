"""A search spread over the workers of a Dask cluster, here or elsewhere.

Dask does the scheduling, the retries and the moving of data; what a worker does with a tile is what a single
machine does with it.
"""

from __future__ import annotations

import importlib.util
import logging
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from scout.errors import InputError, ScoutError, SettingName
from scout.search.run import Spread, TileFound, TileTask

PARKS_IN_A_TILE = 10_000  # smaller tiles than one machine takes, so that no worker waits for another
_RETRIES = 5  # of a tile whose worker died or lost its disk
_ANSWER_S = 5  # that a scheduler has to answer in


@contextmanager
def open_workers(address: str) -> Iterator[Spread]:
    """Workers to search tiles with, for as long as the context lasts.

    Parameters
    ----------
    address : str
        A Dask scheduler's, such as ``tcp://192.0.2.7:8786``. Its workers need this program, and the files
        under the same paths.

    Raises
    ------
    InputError
        Dask is not installed, or nothing answers at the address.
    """
    where = SettingName("cluster", address)
    if importlib.util.find_spec("distributed") is None:
        raise InputError(where, "this needs dask", "install it with: pip install lattice-scout[cluster]")
    import distributed

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of large messages: outlines in memory are sent on purpose
        _check_answers(address, where)
        with distributed.Client(address, set_as_default=False) as client:
            yield _make_spread(client, where)


def _check_answers(address: str, where: str) -> None:
    """Refuse an address where no scheduler says who it is in time; a client would try for much longer."""
    import asyncio
    from concurrent.futures import ThreadPoolExecutor

    from distributed.core import rpc

    async def ask() -> None:
        async with rpc(address) as other:
            answer = await other.identity()
        if answer.get("type") != "Scheduler":
            raise ValueError(answer)

    logger = logging.getLogger("distributed")
    level = logger.level
    logger.setLevel(logging.CRITICAL)
    try:
        # In a thread of its own: a notebook, say, has a loop of events running in this one.
        with ThreadPoolExecutor(1) as thread:
            thread.submit(lambda: asyncio.run(asyncio.wait_for(ask(), _ANSWER_S))).result()
    except (Exception, asyncio.CancelledError) as error:  # what is no scheduler may answer anything
        remedy = "start one with: dask scheduler, and workers with: dask worker ADDRESS"
        raise InputError(where, "no scheduler answers there", remedy) from error
    finally:
        logger.setLevel(level)


def _make_spread(client: Any, where: str) -> Spread:
    from distributed import KilledWorker

    def spread(work: Callable[[TileTask], TileFound], parts: Iterable[TileTask]) -> Iterator[TileFound]:
        futures = [client.submit(_try_tile, work, part, retries=_RETRIES, pure=False) for part in parts]
        try:
            for number, future in enumerate(futures):
                found = future.result()
                if isinstance(found, ScoutError):
                    raise found
                yield found
                futures[number] = None  # the worker may forget it
        except KilledWorker as error:
            what = "a tile of the search ended worker after worker: they may have too little memory"
            raise InputError(where, what, "take fewer workers, or ones with more memory") from error
        finally:
            client.cancel([future for future in futures if future is not None])

    return spread


def _try_tile(work: Callable[[TileTask], TileFound], part: TileTask) -> TileFound | ScoutError:
    """Search a tile; return its finds, or the error that ends the search: no other worker would do better."""
    try:
        return work(part)
    except ScoutError as error:
        # Made anew: what the libraries raised before it may not bear the way back.
        return type(error)(error.where, error.what, error.remedy)
