"""A Dask cluster of two workers on this machine, for as long as a context lasts."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import distributed


@contextmanager
def local_cluster() -> Iterator[distributed.LocalCluster]:
    # By default Dask would answer requests for its state from other machines too.
    quiet = {"dashboard_address": "127.0.0.1:0", "silence_logs": 60}
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", **quiet) as cluster:
        yield cluster
