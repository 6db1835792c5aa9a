"""Many invented studios of a benchmark, in processes of their own."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any


def arguments(studios: int, first_seed: int, **numbers: float) -> argparse.Namespace:
    """`--studios`, `--processes`, `--first-seed` and options for more numbers, with their defaults."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--studios", type=int, default=studios)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--first-seed", type=int, default=first_seed)
    for name, default in numbers.items():
        parser.add_argument(f"--{name}", type=type(default), default=default)
    return parser.parse_args()


@contextmanager
def processes(args: argparse.Namespace) -> Iterator[Callable[..., list[Any]]]:
    """`run(function, *more)`: `function(seed, *more)` for the seed of every studio, in order."""
    seeds = range(args.first_seed, args.first_seed + args.studios)
    with get_context("spawn").Pool(args.processes) as pool:
        yield lambda function, *more: pool.starmap(function, [(seed, *more) for seed in seeds], chunksize=1)
