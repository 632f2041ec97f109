"""A process that writes entries and says "confirmed N" after each; the tests kill it, or run two of them at once."""

from __future__ import annotations

import sys
from pathlib import Path

from fractionkit.stock import open_stock


def main(path: str, count: int) -> None:
    """Pour back and forth, one gram at a time."""
    with open_stock(Path(path)) as stock:
        print("ready", flush=True)
        for turn in range(count):
            ends = ("R1/C1", "R1/C2") if turn % 2 else ("R1/C2", "R1/C1")
            stock.pour(*ends, 0.001, note=f"turn {turn}")
            print(f"confirmed {len(stock.ledger.entries)}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
