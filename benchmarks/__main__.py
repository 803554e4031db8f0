"""Run every benchmark of this folder and print one table."""

import importlib
import pkgutil
from collections.abc import Iterator

import benchmarks
from benchmarks.timing import Row


def modules() -> Iterator[str]:
    """Names of the benchmark modules: those that have a `run`."""
    for found in pkgutil.iter_modules(benchmarks.__path__):
        if not found.name.startswith("_") and hasattr(
            importlib.import_module(f"benchmarks.{found.name}"), "run"
        ):
            yield found.name


def line(row: Row) -> str:
    """One row of the table."""
    figure = "       -" if row.seconds is None else f"{1e3 * row.seconds:8.1f}"
    return f"  {row.what:<44} {figure} ms  {row.remark}".rstrip()


def main() -> None:
    """Print each module's rows as soon as they are there."""
    for name in modules():
        module = importlib.import_module(f"benchmarks.{name}")
        print((module.__doc__ or name).splitlines()[0], flush=True)
        for row in module.run():
            print(line(row), flush=True)


if __name__ == "__main__":
    main()
