"""A process that enters one cycle after the other and says each number once it is written."""

import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from raysim.logbook.book import open_logbook
from raysim.logbook.cycles import Setting, close_cycle, start_cycle

LOAD = 20


def main(book: Path, prefix: str, count: int) -> None:
    """Start and end `count` cycles with the LOAD respirators of this writer."""
    codes = [f"{prefix}{k}" for k in range(LOAD)]
    # A box of its own: the logbook refuses two cycles of one box that run at once.
    setting = Setting(f"box {prefix}", 60.0, "invented", "0" * 64, dose=1.0, strap_dose=1.0)
    long_ago = datetime.now(UTC) - timedelta(hours=1)
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()  # the starting gun
    took = 0.002
    for _ in range(count):
        # A person pauses too; SQLite's waiting writer would starve otherwise, on slow disks above all.
        time.sleep(took)
        began = time.monotonic()
        with open_logbook(book) as opened:
            number, _ = start_cycle(opened, codes, setting, prefix, at=long_ago)
            sys.stdout.write(f"start {number}\n")
            sys.stdout.flush()
            close_cycle(opened, number, "ended", prefix)
            sys.stdout.write(f"end {number}\n")
            sys.stdout.flush()
        took = time.monotonic() - began


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
