import os
import random
import signal
import stat
import time

import pytest
from forked import serve_forks

import scout.io.moving as moves
from scout.errors import OutputError
from scout.io.write import write_file, write_files, write_possible


def test_a_file_is_replaced_whole_and_nothing_else_is_left(tmp_path):
    target = tmp_path / "out.csv"
    target.write_text("old")
    write_file(target, "neu: ä")
    assert target.read_bytes() == "neu: ä".encode()
    assert [p.name for p in tmp_path.iterdir()] == ["out.csv"]


def test_a_failure_leaves_the_old_file_whole(tmp_path, monkeypatch):
    target = tmp_path / "out.csv"
    target.write_text("old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match=r"out\.csv: cannot be written \(No space left on device\)"):
        write_file(target, "new")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out.csv"]


def test_folders_are_named_when_missing_or_in_the_way(tmp_path):
    with pytest.raises(OutputError, match="there is no folder"):
        write_file(tmp_path / "nowhere" / "x.csv", "")
    with pytest.raises(OutputError, match="this is a folder"):
        write_file(tmp_path, "")


def test_permissions_of_an_old_file_are_kept(tmp_path):
    target = tmp_path / "out.csv"
    target.write_text("old")
    target.chmod(0o640)
    write_file(target, "new")
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


def test_bytes_go_out_as_they_are(tmp_path):
    target = tmp_path / "out.kmz"
    write_file(target, b"PK\r\n\x00\xff")
    assert target.read_bytes() == b"PK\r\n\x00\xff"


def test_a_link_stays_and_what_it_points_at_is_written(tmp_path):
    (tmp_path / "there").mkdir()
    target, link = tmp_path / "there" / "out.csv", tmp_path / "out.csv"
    target.write_text("old")
    target.chmod(0o640)
    link.symlink_to("there/out.csv")
    write_file(link, "new")
    assert link.is_symlink()
    assert target.read_text() == "new"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    target.unlink()
    write_file(link, "made")
    assert (link.is_symlink(), target.read_text()) == (True, "made")
    assert [p.name for p in target.parent.iterdir()] == ["out.csv"]


def test_links_that_lead_nowhere_are_named(tmp_path):
    (tmp_path / "a.csv").symlink_to("b.csv")
    (tmp_path / "b.csv").symlink_to("a.csv")
    (tmp_path / "c.csv").symlink_to("nowhere/c.csv")
    with pytest.raises(OutputError, match=r"a\.csv: this link leads round in a circle"):
        write_file(tmp_path / "a.csv", "")
    with pytest.raises(OutputError, match=r"there is no folder .*nowhere"):
        write_file(tmp_path / "c.csv", "")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.csv", "b.csv", "c.csv"]


def test_one_that_cannot_be_written_loses_no_other(tmp_path):
    for name in ("a.csv", "c.csv"):
        (tmp_path / name).write_text("old")
    (tmp_path / "b.csv").mkdir()
    contents = {str(tmp_path / name): "new" for name in ("a.csv", "b.csv", "c.csv")}
    failed = write_possible(contents)
    assert [str(error) for error in failed.values()] == [
        f"{tmp_path / 'b.csv'}: this is a folder; name a file in it"
    ]
    assert [(tmp_path / name).read_text() for name in ("a.csv", "c.csv")] == ["new", "new"]
    assert len(list(tmp_path.iterdir())) == 3
    with pytest.raises(OutputError, match="this is a folder"):
        write_files(contents | {str(tmp_path / "a.csv"): "newer"})
    assert (tmp_path / "a.csv").read_text() == "new", "all or none"


def test_what_a_killed_run_left_goes_and_what_is_not_its_stays(tmp_path):
    left = tmp_path / ".out.csv.abcd1234.scout-part"
    others = [
        tmp_path / name for name in (".out.csv.settings", ".other.csv.abcd1234.scout-part", "x.scout-part")
    ]
    for path in (left, *others):
        path.write_text("half")
    write_file(tmp_path / "out.csv", "new")
    assert sorted(tmp_path.iterdir()) == sorted([*others, tmp_path / "out.csv"])


def test_what_a_living_run_writes_is_left_to_it(tmp_path):
    """A second run to the same target ends while the first is in the middle of its file."""

    def slow(file):
        file.write(b"first")
        write_file(tmp_path / "out.csv", "second")
        assert (tmp_path / "out.csv").read_text() == "second"

    write_file(tmp_path / "out.csv", slow)
    assert (tmp_path / "out.csv").read_text() == "first"
    assert [p.name for p in tmp_path.iterdir()] == ["out.csv"]


@pytest.mark.parametrize("without_mover", [False, True])
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_between_renames_waits_for_the_last(tmp_path, monkeypatch, number, without_mover):
    """With a process for the renames, and where none can be started."""
    targets = [tmp_path / f"{k}.csv" for k in range(4)]
    rename, send = os.replace, signal.raise_signal

    def moving(*names):
        rename(*names)
        send(number)

    if without_mover:
        monkeypatch.setattr(moves.subprocess, "Popen", lambda *_, **__: (_ for _ in ()).throw(OSError()))
        monkeypatch.setattr(os, "replace", moving)
    else:
        told = moves.json.dumps
        monkeypatch.setattr(moves.json, "dumps", lambda names: (send(number), told(names))[1])
    with pytest.raises((KeyboardInterrupt, SystemExit)):
        write_files({str(path): "new" for path in targets})
    assert [path.read_text() for path in targets] == ["new"] * 4
    assert len(list(tmp_path.iterdir())) == 4


# Writes generation after generation of five files and says each that is done, until it is killed.
WRITING = """
import sys
from pathlib import Path
from scout.io.write import write_files
folder, first = Path(sys.argv[1]), int(sys.argv[2])
for n in range(first, first + 10_000):
    write_files({str(folder / f"{k}.txt"): str(n) for k in range(5)})
    print(n, flush=True)
"""


def generations(folder):
    return [int((folder / f"{k}.txt").read_text()) for k in range(5)]


@pytest.fixture
def forks():
    with serve_forks("import scout.io.write") as forks:
        yield forks


def test_killed_200_times_in_mid_save_it_never_leaves_old_beside_new(tmp_path, forks):
    """Half of the kills come as soon as the first file is seen to be new, which is between two renames."""
    chance = random.Random(1)
    write_files({str(tmp_path / f"{k}.txt"): "0" for k in range(5)})
    done = mid_save = 0
    for kill in range(200):
        process = forks.start(WRITING, [str(tmp_path), str(done + 1)], tmp_path.parent)
        acknowledged = int(process.stdout.readline())
        if kill % 2:
            time.sleep(chance.random() * 0.05)
        else:
            name = tmp_path / "0.txt"
            before = name.stat().st_ino
            while name.stat().st_ino == before:
                pass
        process.kill()
        acknowledged = int((process.communicate()[0].splitlines() or [acknowledged])[-1])
        mid_save += any(p.name.endswith(".scout-part") for p in tmp_path.iterdir())
        given_up = time.monotonic() + 10
        while len(set(generations(tmp_path))) > 1 and time.monotonic() < given_up:
            time.sleep(0.001)  # the process that renames goes on to its end
        assert len(set(generations(tmp_path))) == 1, f"kill {kill}: {generations(tmp_path)}"
        done = generations(tmp_path)[0]
        assert done >= acknowledged
    assert mid_save > 20, "it was killed in mid-save"
    given_up = time.monotonic() + 10
    while True:  # the last killed run's own process may still hold its files for a moment
        write_files({str(tmp_path / f"{k}.txt"): "end" for k in range(5)})
        if len(list(tmp_path.iterdir())) == 5 or time.monotonic() > given_up:
            break
        time.sleep(0.05)
    assert len(list(tmp_path.iterdir())) == 5, "nothing of the killed runs is left"
