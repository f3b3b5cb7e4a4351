"""Damaged files of every format through the real command: a result, or one line and exit status 2.

    .venv/bin/python tests/fuzz/run.py [--seed N] [--cases N] [--first N] [--only WORD] [--json FILE]

Prints a table by format and one by kind of damage; exit status 1 if any case failed. A case comes again with
the same seed, format, damage and number.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from fuzz.cage import Bounds, warm_up
from fuzz.cases import Outcome, drawn, outcome
from fuzz.heavy import HEAVY, heavy_outcome
from fuzz.whole import write_whole


def main() -> int:
    """Run the cases and tell what came of them."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--cases", type=int, default=6000)
    words.add_argument("--first", type=int, default=0, help="leave those before out, to run in pieces")
    words.add_argument("--only", default="", help="formats or kinds of damage with this word")
    words.add_argument("--number", type=int, help="only the draws of this number")
    words.add_argument("--json", type=Path, help="write the figures there")
    words.add_argument("--no-heavy", action="store_true", help="leave the few very large files out")
    given = words.parse_args()
    begun = time.monotonic()
    outcomes: list[Outcome] = []
    with tempfile.TemporaryDirectory(prefix="knocks-") as place:
        wholes = _whole_in_a_process_of_its_own(Path(place))
        warm_up()
        for n, case in enumerate(drawn(given.cases)):
            if (
                n < given.first
                or given.only not in f"{case.format}|{case.damage}"
                or given.number not in (None, case.number)
            ):
                continue
            outcomes.append(outcome(case, wholes, Path(place) / f"case{n}", given.seed, Bounds()))
            _tell(outcomes[-1])
        for name in () if given.no_heavy else HEAVY:
            if given.only in name:
                outcomes.append(heavy_outcome(name, wholes, Path(place) / "heavy"))
                _tell(outcomes[-1])
    took = time.monotonic() - begun
    _table("format", outcomes, lambda one: one.case.format)
    _table("damage", outcomes, lambda one: one.case.damage)
    failed = [one for one in outcomes if one.fault]
    print(f"\n{len(outcomes)} cases, {len(failed)} failed, seed {given.seed}, {took:.0f} s")
    if given.json:
        given.json.write_text(json.dumps(_figures(outcomes) | {"seed": given.seed, "took_s": round(took)}))
    return 1 if failed else 0


def _whole_in_a_process_of_its_own(place: Path) -> dict[str, Path]:
    """Sound files made by a child: writers start threads, and what is forked later must have none."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            found = write_whole(place)
            (place / "names.json").write_text(json.dumps({name: str(path) for name, path in found.items()}))
            code = 0
        finally:
            os._exit(code)
    if os.waitpid(child, 0)[1]:
        raise SystemExit("the sound files could not be made")
    return {name: Path(path) for name, path in json.loads((place / "names.json").read_text()).items()}


def _tell(one: Outcome) -> None:
    if one.fault:
        case = one.case
        print(f"FAILED {case.format} | {case.damage} | {case.number}: {one.fault}", flush=True)
        print(f"       scout {' '.join(one.words)[:300]}", flush=True)


def _figures(outcomes: list[Outcome]) -> dict[str, float]:
    return {
        "cases": len(outcomes),
        "results": sum(one.run.status in (0, 1) for one in outcomes),
        "refused": sum(one.run.status == 2 for one in outcomes),
        "failed": sum(bool(one.fault) for one in outcomes),
        "slowest_s": max((one.run.seconds for one in outcomes), default=0),
        "largest_mb": max((one.run.peak_mb for one in outcomes), default=0),
    }


def _table(head: str, outcomes: list[Outcome], key: Callable[[Outcome], str]) -> None:
    print(
        f"\n{head:<22}{'cases':>7}{'results':>9}{'refused':>9}{'failed':>8}{'slowest s':>11}{'largest MB':>12}"
    )
    for name in [*dict.fromkeys(map(key, outcomes)), "all"]:
        f = _figures([one for one in outcomes if name in (key(one), "all")])
        print(
            f"{name:<22}{f['cases']:>7}{f['results']:>9}{f['refused']:>9}{f['failed']:>8}"
            f"{f['slowest_s']:>11.2f}{f['largest_mb']:>12.0f}"
        )


if __name__ == "__main__":
    sys.exit(main())
