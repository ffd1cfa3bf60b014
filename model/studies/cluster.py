"""Variants on an existing Dask cluster. Workers need wellring and the same MODFLOW 6."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from wellring.model.studies.base_case import BaseCase
from wellring.model.studies.variants import Outcome, Variant
from wellring.model.studies.workers import no_cluster, solve_far_away

WAIT_S = 15.0
"""How long a scheduler and its first worker are waited for [s]."""


class ClusterCrew:
    """The workers of a Dask cluster. No shared disk is needed: answers travel back."""

    kind = "cluster"

    def __init__(self, base: BaseCase, address: str):
        try:
            from distributed import Client
        except ImportError:
            no_cluster(
                address, "Install it with: pip install 'wellring[cluster]' (here and on workers)."
            )
        try:
            self.client: Any = Client(address, timeout=WAIT_S, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            no_cluster(address, f"Nothing answers there ({type(error).__name__}).")
        try:
            self.client.wait_for_workers(1, timeout=WAIT_S)
        except TimeoutError:
            self.client.close()
            no_cluster(address, "The scheduler has no workers; start some with 'dask worker'.")
        threads = self.client.nthreads()
        self.workers = sum(threads.values())
        self.base = self.client.scatter(base, broadcast=True, hash=False)

    def solve(self, variants: Iterable[Variant]) -> Iterator[tuple[Variant, Outcome]]:
        """Solve variants with at most twice as many on the cluster as it has threads."""
        from distributed import as_completed

        waiting = iter(variants)
        at_work: dict[Any, Variant] = {}

        def submit(variant: Variant) -> Any:
            future = self.client.submit(solve_far_away, self.base, variant, pure=False)
            at_work[future] = variant
            return future

        done = as_completed(
            [submit(v) for v in islice(waiting, 2 * self.workers)], loop=self.client.loop
        )
        for future in done:
            variant = at_work.pop(future)
            for following in islice(waiting, 1):
                done.add(submit(following))
            error = future.exception()
            if error is not None:
                yield variant, Outcome(failed=f"on a worker: {type(error).__name__}: {error}")
            else:
                yield variant, future.result()
            future.release()

    def close(self) -> None:
        """Cancel what is waiting and leave the cluster as it is."""
        self.client.close()
