"""The cases: a damaged file, the command that reads it, and whether what came of it is right."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import random
import re
import shutil
import sqlite3
import stat
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from fuzz.cage import Bounds, Run, run_caged
from fuzz.damage_bytes import ANY, Maker
from fuzz.damage_declared import DECLARED
from fuzz.damage_exchange import EXCHANGE
from fuzz.damage_formats import MAKERS
from fuzz.damage_ground import GROUND
from fuzz.damage_parquet import PARQUET
from fuzz.damage_records import MUST_BE_REFUSED, MUST_BE_TAKEN, RECORDS
from fuzz.damage_shapes import shape_makers
from fuzz.damage_trust import BODIES, TRUST, other_bodies
from fuzz.whole import BOUNDARIES, FORMATS, SHAPED

__all__ = ["Case", "Outcome", "drawn", "outcome"]

csv.field_size_limit(2**31 - 1)
_OLD = b"what was there before\n"
_GOOD, _ROADS = "good.geojson", "good-access.geojson"
_SAVES = (".csv", ".geojson", ".gpx", ".kml", ".gpkg")
# What Parquet keeps once is believed up to 512 MiB, and a batch of 256 MiB is unpacked before it is counted.
_MEMORY_MB = {"kept once for many": 2000.0}


@dataclass(frozen=True, slots=True)
class Case:
    """What is done to which sound file, by the number of its draw."""

    format: str
    damage: str
    number: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a case: a fault in words, or none."""

    case: Case
    run: Run
    words: tuple[str, ...]
    fault: str


def makers_of(name: str) -> dict[str, Maker]:
    """All damage that a format takes."""
    suffix = "." + FORMATS[name][0].rpartition(".")[2]
    shapes = {**shape_makers(), "other bodies": other_bodies} if name in SHAPED else {}
    trust = TRUST.get(suffix, {}) if name != "notebook" else {}
    made = {**ANY, **shapes, **MAKERS.get(suffix, {}), **RECORDS.get(name, {}), **GROUND.get(suffix, {})}
    return {**made, **trust, **PARQUET.get(name, {}), **EXCHANGE.get(name, {}), **DECLARED.get(name, {})}


def drawn(count: int) -> Iterator[Case]:
    """Cases without end, cut at ``count``: every kind of damage to every format in turn."""
    kinds = [(name, damage) for name in FORMATS for damage in makers_of(name)]
    for number in range(count):
        yield Case(*kinds[number % len(kinds)], number // len(kinds))


def all_kinds() -> int:
    """How many kinds of damage there are, each counted once for each format."""
    return sum(len(makers_of(name)) for name in FORMATS)


def outcome(case: Case, wholes: dict[str, Path], folder: Path, seed: int, bounds: Bounds) -> Outcome:
    """Make the damage, run the command, judge what it did."""
    folder.mkdir()
    chance = random.Random(f"{seed} {case.format} {case.damage} {case.number}")
    for name in (_GOOD, _ROADS):
        shutil.copy(wholes[case.format].parent / name, folder)
    try:
        given = str(makers_of(case.format)[case.damage](wholes[case.format], folder, chance))
    except Exception as error:
        shutil.rmtree(folder)
        return Outcome(case, Run(70, "", "", 0.0, 0.0, False), (), f"the damage could not be made: {error!r}")
    given = (
        os.path.relpath(given, folder) if given.startswith(f"{folder}/") and chance.random() < 0.5 else given
    )
    words, outputs = _command(case.format, given, wholes[case.format].parent, chance)
    if chance.random() < 0.5:
        for name in outputs:
            if not os.path.lexists(folder / name):
                (folder / name).write_bytes(_OLD)
    if case.damage == "round the globe":  # the finer levels are for `heavy`
        words.insert(1, "--level=field")
    before = _state(folder)
    bounds = replace(bounds, resident_mb=_MEMORY_MB.get(case.damage, bounds.resident_mb))
    run = run_caged(words, folder, bounds)
    fault = _fault(run, bounds, given) or _fault_of_files(before, _state(folder), outputs, run, folder)
    if not fault and run.status == 2 and case.damage in MUST_BE_TAKEN:
        fault = f"refused: {run.err[:300]!r}"
    if not fault and run.status != 2 and case.damage in MUST_BE_REFUSED:
        fault = "taken, and should be refused"
    shutil.rmtree(folder)
    shutil.rmtree(folder.with_name(f"{folder.name}-unpacked"), ignore_errors=True)
    return Outcome(case, run, tuple(words), fault)


def _command(name: str, given: str, beside: Path, chance: random.Random) -> tuple[list[str], list[str]]:
    """The words of a command that reads the damaged file, and what it may write."""
    save = f"out{chance.choice(_SAVES)}"
    search, written = ["--save", save], [save]
    if chance.random() < 0.3:  # a map takes longer than all else
        search, written = ["--map", "out.html", *search], ["out.html", save]
    walks = ["--near", "0", "--park", "Q-1", "--longest-walk", "10"]
    if name in BOUNDARIES:
        corridor = ["--corridor", "30"] if chance.random() < 0.2 else []
        if chance.random() < 0.1:
            corridor += [f"--crs={chance.choice(BODIES)}"]
        where = ["--", given] if given.startswith("-") else [given]
        if chance.random() < 0.15:
            return ["check", "45,-20", "--map", "out.html", *corridor, f"--parks={given}"], ["out.html"]
        return ["find", *search, *corridor, *where], written
    if name.startswith("parks"):
        return [
            "find",
            *search,
            "--near=0",
            "--longest-walk=10",
            *(["--forests"] if chance.random() < 0.3 else []),
            f"--parks={given}",
        ], written
    if name.startswith("access"):
        role = chance.choice(("--access", "--barriers", "--hazards"))
        return ["find", _GOOD, *search, *walks, f"{role}={given}"], written
    if name.startswith("heights"):
        return ["find", _GOOD, *search, *walks, "--access", _ROADS, f"--heights={given}"], written
    if name.startswith("fixes"):
        return ["arrive", "--parks", _GOOD, "--sheet", "out.html", "--", given], ["out.html"]
    if name.startswith("places"):
        return ["check", "--parks", _GOOD, f"--from={given}", "--map", "out.html"], ["out.html"]
    if name.startswith("outing"):
        return ["find", f"--outing={given}", *search, *walks], [*written, "hit.html"]
    if name.startswith("log"):
        os.makedirs(beside / "logs", exist_ok=True)
        book = str(beside / "good-visits.gpkg")
        return ["stamp", "--visit", "1", "--notebook", book, "--out", ".", "--", given], []
    table = f"out{chance.choice(('.csv', '.geojson', '.html'))}"
    return chance.choice(
        [
            (["visit", "list", f"--notebook={given}"], []),
            (["visit", "show", "1", f"--notebook={given}"], []),
            (["visit", "export", table, f"--notebook={given}"], [table]),
            (["tally", f"--notebook={given}"], []),
            (["find", _GOOD, *search, f"--notebook={given}"], written),
        ]
    )


def _state(folder: Path) -> dict[str, str]:
    """Every file below, by a digest of what is in it; links are not followed."""
    found = {}
    for root, folders, names in os.walk(folder):
        for name in [*folders, *names]:
            path = os.path.join(root, name)
            mode = os.lstat(path).st_mode
            mark = f"kind {stat.S_IFMT(mode):o}"
            if stat.S_ISREG(mode):
                with open(path, "rb") as stream:
                    mark = hashlib.file_digest(stream, "sha1").hexdigest()
            elif stat.S_ISLNK(mode):
                mark = os.readlink(path)
            found[os.path.relpath(path, folder)] = mark
    return found


def _fault(run: Run, bounds: Bounds, given: str) -> str:
    """What is wrong with the way the command ended, or nothing."""
    if run.late:
        return f"took over {bounds.seconds:g} s"
    if run.status < 0:
        return f"ended by signal {-run.status}"
    if run.status not in (0, 1, 2) or "Traceback (most recent call last)" in run.err:
        return f"status {run.status}: {run.err.strip()[-300:]}"
    if run.peak_mb > bounds.resident_mb:
        return f"took {run.peak_mb:.0f} MB"
    if run.status != 2:
        return f"said on the way: {run.err[:300]!r}" if run.err else ""
    if run.err.count("\n") != 1 or not run.err.startswith("scout: "):
        return f"not one line: {run.err[:400]!r}"
    if not run.err[:-1].isprintable():
        return f"control characters: {run.err[:400]!r}"
    if len(run.err) > 2000 and len(run.err) > 2 * len(given) + 600:
        return f"a line of {len(run.err)} characters: {run.err[:200]!r}"
    # The name as it is told: what no terminal should be shown is replaced.
    if re.match(r"scout: (overlaps|level \w+): ", run.err):
        return ""  # what the parks of all files come to together
    if given.endswith(".toml"):
        return ""  # an outing names other files, and those are told of
    told = re.sub(r"[^\w]+", ".*", Path(given).name.encode("utf-8", "replace").decode())[:60]
    if not re.search(told.replace("?", ".*"), run.err) and "hit" not in run.err:
        return f"the file is not named: {run.err[:400]!r}"
    return ""


def _fault_of_files(
    before: dict[str, str], after: dict[str, str], outputs: list[str], run: Run, folder: Path
) -> str:
    """What is wrong with the files, or nothing: inputs as they were, outputs whole or as they were."""
    written = {name for name in after if after[name] != before.get(name)}
    lost = set(before) - set(after)
    if lost:
        return f"lost: {sorted(lost)}"
    if run.status == 2 and written:
        return f"left by a refusal: {sorted(written)}"
    allowed = {*outputs} | ({name for name in written if name.endswith(".adi") and name not in before})
    if written - allowed:
        return f"changed: {sorted(written - allowed)}"
    for name in sorted(written):
        try:
            whole = _is_whole(folder / name)
        except (ValueError, ElementTree.ParseError, csv.Error, sqlite3.Error) as error:
            return f"half written: {name} ({error})"
        if not whole:
            return f"half written: {name}"
    return ""


def _is_whole(path: Path) -> bool:
    """Whether an output is complete, by a reader that is not ours."""
    data = path.read_bytes()
    if path.suffix == ".html":
        return data.rstrip().endswith(b"</html>")
    if path.suffix in (".gpx", ".kml"):
        return ElementTree.fromstring(data).tag.endswith(("gpx", "kml"))
    if path.suffix == ".geojson":
        return json.loads(data)["type"] == "FeatureCollection"
    if path.suffix == ".csv":
        return len({len(row) for row in csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""))}) == 1
    if path.suffix == ".gpkg":
        with closing(sqlite3.connect(path)) as base:
            return base.execute("pragma integrity_check").fetchall() == [("ok",)]
    return path.suffix == ".adi"
