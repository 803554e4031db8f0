"""A catalogue of invented parts: read and compiled, kept as columns, opened, searched."""

from collections.abc import Iterator
from functools import partial

from benchmarks.invented_parts import invented
from benchmarks.timing import Row, best_seconds
from conewright.catalogue.compiled import pack, unpack
from conewright.catalogue.lists.forms import FORMS, table_of, written
from conewright.catalogue.lists.listing import chosen
from conewright.catalogue.lists.part_rows import read_catalogue

SIZES = (1_000, 10_000, 100_000)


def run() -> Iterator[Row]:
    """Time each step for catalogues of several sizes, and the three forms for one of them."""
    for size in SIZES:
        content = written(invented(size), ending=".csv")
        repeats = 3 if size <= 10_000 else 1

        def read(content: bytes = content) -> object:
            return read_catalogue(table_of(content, file="parts.csv"))

        yield Row(f"{size} parts read and compiled", best_seconds(read, repeats=repeats))
        compiled = read_catalogue(table_of(content, file="parts.csv")).compiled
        packed = pack(compiled)
        opened = best_seconds(partial(unpack, packed), repeats=repeats)
        yield Row(f"{size} parts opened again", opened, f"{len(packed) / 1e6:.1f} MB kept")
        searched = best_seconds(
            partial(chosen, compiled, kind="driver", search="woofer b"),
            repeats=repeats,
        )
        yield Row(f"{size} parts searched", searched)
    rows = invented(10_000)
    for ending in FORMS:
        content = written(rows, ending=ending)
        seconds = best_seconds(
            partial(table_of, content, file=f"parts{ending}"),
            repeats=1,
        )
        yield Row(f"10000 rows from {ending}", seconds)
