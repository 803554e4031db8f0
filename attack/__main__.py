"""Run every attack of this folder, or those that are named, and print one table."""

import argparse
import importlib
import sys
import time
from pathlib import Path

from attack.tally import Limits, Tally

FOLDER = Path("build/attack")
FULL: dict[str, tuple[int, float]] = {
    "seeds": (45, 10),
    "parsers": (1_000_000, 90),
    "requests": (20_000, 345),
    "kills": (1_000, 40),
    "damaged": (2_000, 30),
    "bombs": (819, 45),
    "slow": (12, 40),
}
"""What each part is to try at most, and the seconds it has; together ten minutes.

Starting a server is not in them, nor are the few seeds held back by them.
"""
SHORT: dict[str, tuple[int, float]] = {
    "seeds": (45, 8),
    "parsers": (30_000, 8),
    "requests": (400, 8),
    "kills": (40, 6),
    "damaged": (150, 4),
    "bombs": (40, 6),
    "slow": (10, 6),
}
"""As above, for every change."""


def main() -> None:
    """Attack, print what came of it, and leave with 1 where anything was found."""
    asked = argparse.ArgumentParser(prog="python -m attack", description=__doc__)
    asked.add_argument(
        "parts", nargs="*", metavar="PART", help=f"of {', '.join(FULL)}; all if none"
    )
    asked.add_argument("--short", action="store_true", help="some 45 seconds, as for every change")
    asked.add_argument("--seed", type=int, default=1, help="of all chance; 1 if not said")
    given = asked.parse_args()
    if not set(given.parts) <= set(FULL):
        asked.error(f"parts are {', '.join(FULL)}")
    tallies = []
    for name, (target, seconds) in (SHORT if given.short else FULL).items():
        if not given.parts or name in given.parts:
            tallies.append(attacked(name, given.seed, Limits(target, seconds)))
    print("\n".join(table(tallies)))
    sys.exit(1 if any(tally.finds or not tally.tried for tally, _ in tallies) else 0)


def attacked(name: str, seed: int, limits: Limits) -> tuple[Tally, Limits]:
    """Run one part; what it does not catch itself ends the campaign, which is no find."""
    tally = Tally(name, seed, FOLDER.absolute())
    importlib.import_module(f"attack.{name}").run(tally, limits)
    taken = time.monotonic() - limits.began
    print(f"{name}: {tally.tried} of {limits.target} tried in {taken:.0f} s", flush=True)
    return tally, limits


def table(tallies: list[tuple[Tally, Limits]]) -> list[str]:
    """Return the counts of every part, and behind them each kind of find with its inputs."""
    lines = [f"{'part':<10}{'tried':>10}{'target':>10}{'refused':>10}{'answered':>10}{'finds':>8}"]
    for tally, limits in tallies:
        counts = (tally.tried, limits.target, tally.refused, tally.answered)
        numbers = "".join(f"{count:>10}" for count in counts)
        lines.append(f"{tally.part:<10}{numbers}{tally.finds.total():>8}")
    for tally, _ in tallies:
        for kind, times in tally.finds.items():
            lines.append(f"{tally.part}, seed {tally.seed}: {times} times {kind}")
        lines += [f"  {kept}" for kept in tally.kept]
    return lines


if __name__ == "__main__":
    main()
