"""Imports a file and writes every id to standard output once it is acknowledged. The tests kill it."""

from __future__ import annotations

import sys
from pathlib import Path

from optimizer.trials import exchange
from optimizer.trials.book import TrialBook

if __name__ == "__main__":
    book, file, chunk = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
    exchange.CHUNK = chunk

    def acknowledged(entered):
        sys.stdout.write("".join(f"{id}\n" for id in (*entered.added, *entered.unchanged)))
        sys.stdout.flush()

    exchange.import_trials(TrialBook(book, timeout=60.0), file, confirmed=True, acknowledged=acknowledged)
    sys.stdout.write("done\n")
