"""How much the desk takes at most, each bound in one place."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """Bounds of what a browser, or whoever pretends to be one, can ask of the desk."""

    file_bytes: int = 1_000_000_000  # one file that is brought
    all_bytes: int = 2_000_000_000  # all files of one tab
    files: int = 200  # of one tab
    json_bytes: int = 262_144  # a question
    workspaces: int = 12  # tabs at once
    connections: int = 256
    key_bytes: int = 4096  # a question of who has shown no key yet
    head_s: float = 10.0  # for a request's head to be complete; without a key, for all of it
    body_s: float = 20.0  # between two pieces of its body
    left_s: float = 120.0  # a tab that was closed; reloading it takes less
    idle_s: float = 7200.0  # a tab that says nothing: an open one calls every minute
    stop_s: float = 0.7  # for a cancelled job to stop by itself before its process is ended
