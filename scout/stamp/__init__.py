"""A log and a visit in, the log with the station's location out; no other byte of it changes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from scout.stamp.adi import Contact, Field, Log, parse_log
from scout.stamp.claim import GROUPS, PLACE, SIGNATURE, Claim, agrees, claim_of
from scout.stamp.location import choices, grid_list
from scout.stamp.timeline import Timeline, timeline

__all__ = [
    "Claim",
    "Conflict",
    "Contact",
    "Log",
    "Stamped",
    "Timeline",
    "choices",
    "claim_of",
    "grid_list",
    "parse_log",
    "stamp",
    "timeline",
]


@dataclass(frozen=True, slots=True)
class Conflict:
    """A field in which the log says otherwise than the visit."""

    contact: int
    call: str
    name: str
    said: str
    value: str  # what the visit says; empty: nothing should stand there
    replaced: bool


@dataclass(frozen=True, slots=True)
class Stamped:
    """The new log and what was done to it."""

    data: bytes
    changed: int  # contacts
    set_fields: tuple[tuple[str, int], ...]  # field, in how many contacts it was set
    conflicts: tuple[Conflict, ...]
    carrying: int  # contacts that say after it what the claim's MY_SIG_INFO is


class _Edit(NamedTuple):
    start: int
    end: int
    text: str


def stamp(
    log: Log, claim: Claim, inside: Iterable[int], *, force: bool = False, only_inside: bool = False
) -> Stamped:
    """Set the fields of a claim in some contacts.

    Parameters
    ----------
    log : Log
    claim : Claim
    inside : iterable of int
        Numbers of the contacts it holds for.
    force : bool
        Replace what the log says otherwise; it is left alone without.
    only_inside : bool
        Leave the other contacts out.

    Notes
    -----
    A field that is missing is added at the end of its contact, parted as the contact's last two fields are;
    an empty one is filled. What agrees is left as it is written.
    """
    chosen = set(inside)
    edits: list[_Edit] = []
    conflicts: list[Conflict] = []
    counts = dict.fromkeys((*claim.values, *claim.absent), 0)
    changed = carrying = 0
    for contact in log.contacts:
        if contact.number not in chosen:
            if only_inside:
                edits.append(_Edit(contact.start, contact.end, ""))
            continue
        wanted, clashes = _wanted(log, contact, claim, force)
        conflicts += clashes
        edits += _edits(log, contact, wanted)
        changed += bool(wanted)
        for name in wanted:
            counts[name] = counts.get(name, 0) + 1
        after = {name: wanted.get(name, contact.value(name)) for name in SIGNATURE}
        carrying += all(after[name] == claim.values.get(name, "") for name in SIGNATURE)
    data = _spliced(log.text, edits).encode(log.codec)
    told = tuple((name, count) for name, count in counts.items() if count)
    return Stamped(data, changed, told, tuple(conflicts), carrying)


def _wanted(log: Log, contact: Contact, claim: Claim, force: bool) -> tuple[dict[str, str], list[Conflict]]:
    """Values to write into a contact, an empty one to take a field out; and what is in the way."""
    wanted: dict[str, str] = {}
    conflicts: list[Conflict] = []
    for group in GROUPS:
        # A contact under another call sign is not the visit's; one from elsewhere is not from this park.
        stops = {"STATION_CALLSIGN"} if group == PLACE else {"STATION_CALLSIGN", *PLACE}
        if group in (PLACE, SIGNATURE) and not force and stops & {clash.name for clash in conflicts}:
            continue
        mine, clashes = {}, []
        for name in group:
            said, value = contact.value(name), claim.values.get(name, "")
            if said and (name in claim.absent or (value and not agrees(name, said, claim))):
                words = log.words(contact.value("CALL"))
                clashes.append(Conflict(contact.number, words, name, log.words(said), value, force))
                mine[name] = value
            elif value and not said:
                mine[name] = value
        conflicts += clashes
        if clashes and not force:
            continue
        wanted |= _whole_locator(contact, claim, mine) if group == PLACE else mine
    return wanted, conflicts


def _whole_locator(contact: Contact, claim: Claim, mine: dict[str, str]) -> dict[str, str]:
    """Keep the extension beside the locator it continues, and beside no other."""
    name, more = "MY_GRIDSQUARE", "MY_GRIDSQUARE_EXT"
    after = mine.get(name, contact.value(name))
    if after.lower() != claim.values.get(name, "").lower():
        mine.pop(more, None)
    elif name in mine and more not in claim.values and contact.value(more):
        mine[more] = ""
    return mine


def _edits(log: Log, contact: Contact, wanted: dict[str, str]) -> list[_Edit]:
    edits = []
    new = []
    for name, value in wanted.items():
        field = contact.by_name.get(name)
        if field is None:
            new.append(f"<{name}:{len(value)}>{value}")
        elif value:
            edits.append(_Edit(field.start, field.end, _written(log, field, value)))
        else:
            edits.append(_Edit(field.start, field.end, ""))
    if new:
        at = contact.fields[-1].end if contact.fields else contact.eor
        edits.append(_Edit(at, at, "".join(_between(log, contact) + text for text in new)))
    return sorted(edits)


def _written(log: Log, field: Field, value: str) -> str:
    """A field's own spelling of its name and type, with another value."""
    name = log.text[field.start : field.at].strip("<>").split(":")[0].strip()
    return f"<{name}:{len(value)}{':' + field.kind if field.kind else ''}>{value}"


def _between(log: Log, contact: Contact) -> str:
    """What parts the last two fields of a contact."""
    if len(contact.fields) < 2:
        return " "
    return log.text[contact.fields[-2].end : contact.fields[-1].start]


def _spliced(text: str, edits: list[_Edit]) -> str:
    parts, at = [], 0
    for edit in edits:
        parts += [text[at : edit.start], edit.text]
        at = edit.end
    return "".join([*parts, text[at:]])
