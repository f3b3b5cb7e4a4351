"""What a visit says is stamped into the contacts of a log that were made during it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple

from scout.errors import InputError, SettingName
from scout.geo.geodesy import wrap_lon
from scout.geo.locator import encode
from scout.model import Visit
from scout.quantities import MeasuredText
from scout.visits.adi import (
    AdifField,
    AdifLog,
    Contact,
    are_adjacent,
    format_location,
    list_choices,
    list_grids,
    parse_location,
)
from scout.visits.tally import list_grids_at

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Timing:
    """Begin and end of a contact, UTC. A time in whole minutes may be any second of its minute."""

    start: datetime
    last: datetime  # the latest the start may be
    end: datetime | None

    @property
    def shown(self) -> str:
        """The start for people."""
        return f"{self.start:%Y-%m-%d %H:%M}" + (f":{self.start:%S}" if self.last == self.start else "")


@dataclass(frozen=True, slots=True)
class Timeline:
    """Numbers of the contacts inside a visit, and a line for whatever should be looked at."""

    inside: tuple[int, ...]
    outside: tuple[str, ...]  # within a day of the visit, a line each
    far: int  # outside, further away
    doubts: tuple[str, ...]


def find_timing(contact: Contact) -> Timing | None:
    """When a contact was, from QSO_DATE, TIME_ON, QSO_DATE_OFF and TIME_OFF; None if that is not known."""
    day, at = _parse_date(contact.value("QSO_DATE")), _parse_clock(contact.value("TIME_ON"))
    if day is None or at is None:
        return None
    start = datetime.combine(day, at, UTC)
    last = start if len(contact.value("TIME_ON")) == 6 else start + timedelta(seconds=59)
    end = None
    off = _parse_clock(contact.value("TIME_OFF"))
    if off is not None:
        stated = _parse_date(contact.value("QSO_DATE_OFF"))
        end = datetime.combine(stated or day, off, UTC)
        # Without a date of its own the contact took less than 24 hours.
        if stated is None and off < at:
            end += _DAY
    return Timing(start, last, end)


def sort_contacts(log: AdifLog, visit: Visit) -> Timeline:
    """Sort the contacts of a log by whether they were made during a visit.

    Parameters
    ----------
    log : Log
    visit : Visit
        With an end.
    """
    start, end = visit.start, visit.end or visit.start
    inside: list[int] = []
    outside: list[str] = []
    doubts: list[str] = []
    seen: dict[tuple[str, ...], int] = {}
    far = 0
    for contact in log.contacts:
        who = f"contact {contact.number} ({log.words(contact.value('CALL')) or 'no call sign'})"
        when = find_timing(contact)
        if when is None:
            outside.append(f"{who}: date or time is missing or is none")
            continue
        if when.last >= start and when.start <= end:
            inside.append(contact.number)
            doubts += _list_doubts(contact, when, visit, who, seen)
        elif _is_near(when, start, end):
            outside.append(_explain_why(when, start, end, who))
        else:
            far += 1
    return Timeline(tuple(inside), tuple(outside), far, tuple(doubts))


def _is_near(when: Timing, start: datetime, end: datetime) -> bool:
    return start - _DAY <= when.last and when.start <= end + _DAY


def _explain_why(when: Timing, start: datetime, end: datetime, who: str) -> str:
    side = "before arriving" if when.last < start else "after leaving"
    line = f"{who}, {when.shown}: {side}"
    # A logger set to local time, or a date that was not turned at 0000 UTC, is out by a whole day.
    for days, word in ((1, "later"), (-1, "earlier")):
        if when.last + days * _DAY >= start and when.start + days * _DAY <= end:
            return f"{line}; a day {word} it would fit: is the date UTC?"
    return line


def _list_doubts(
    contact: Contact, when: Timing, visit: Visit, who: str, seen: dict[tuple[str, ...], int]
) -> list[str]:
    found = []
    names = ("CALL", "BAND", "MODE", "SUBMODE")
    key = (*(contact.value(name).upper() for name in names), f"{when.start:%Y%m%d}")
    if key in seen:
        found.append(f"{who}, {when.shown}: same call sign, band, mode and UTC day as contact {seen[key]}")
    else:
        seen[key] = contact.number
    if when.end is not None and when.end < when.start:
        found.append(f"{who}, {when.shown}: ends before it begins")
    elif when.end is not None and visit.end is not None and when.end > visit.end:
        found.append(f"{who}, {when.shown}: ends after leaving, at {when.end:%Y-%m-%d %H:%M}")
    return found


def _parse_date(text: str) -> date | None:
    try:
        day = datetime.strptime(text, "%Y%m%d").date() if len(text) == 8 else None
    except ValueError:
        return None
    # The first and the last year of the calendar are slips, and a day before or after them is none.
    return day if day and date.min.year < day.year < date.max.year else None


def _parse_clock(text: str) -> time | None:
    try:
        return datetime.strptime(text, {4: "%H%M", 6: "%H%M%S"}[len(text)]).time()
    except (KeyError, ValueError):
        return None


# What a visit says in a log: the values of the station's own fields.
SIGNATURE = ("MY_SIG", "MY_SIG_INFO")
PLACE = ("MY_GRIDSQUARE", "MY_GRIDSQUARE_EXT", "MY_VUCC_GRIDS", "MY_LAT", "MY_LON")
# Fields that say one thing together: a conflict in one leaves all of its group alone.
GROUPS = (("STATION_CALLSIGN", "OPERATOR"), PLACE, SIGNATURE)

# Letters, digits and strokes with a digit among them: what a call sign may look like anywhere.
_CALL = re.compile(r"(?=.*\d)(?=.*[A-Za-z])[A-Za-z0-9/]{3,}")
_THOUSANDTH_DEG = 1 / 60_000  # of a minute: the last figure of a Location
# Half the least side of a cell of the fourth and fifth pair: 15 and 0.625 seconds of latitude.
_HALF_CELL_M = {4: 230.0, 5: 9.6}


@dataclass(frozen=True, slots=True)
class StampClaim:
    """Values by field. ``absent`` must not stand in a contact beside them."""

    values: dict[str, str]
    names: frozenset[str]  # lower case: locators of the claimed cells and, finer, of those at the station
    absent: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def choose_fineness(error_m: float | None) -> int:
    """Pairs of the locator that a position's error allows: 3, 4 or 5.

    Examples
    --------
    >>> choose_fineness(4.9), choose_fineness(30.0), choose_fineness(None)
    (5, 4, 4)
    """
    if error_m is None:
        return 4
    return max((level for level, half_m in _HALF_CELL_M.items() if error_m <= half_m), default=3)


def make_claim(
    visit: Visit, sig: str = "", reference: str = "", grids: Sequence[str] | None = None
) -> StampClaim:
    """The fields of a visit.

    Parameters
    ----------
    visit : Visit
    sig, reference : str
        Name of the programme as the user gives it, and the park's reference in it; neither or both.
    grids : sequence of str, optional
        Those of the visit's grids that are claimed; all otherwise.

    Raises
    ------
    InputError
        Three grids, or another number that ADIF has no form for; grids that are not the visit's; a text
        that ADI cannot hold.
    """
    claimed = _list_claimed(visit, grids)
    values: dict[str, str] = {}
    notes: list[str] = []
    locator = _choose_locator(visit, claimed)
    values["MY_GRIDSQUARE"] = locator[:8]
    if len(locator) > 8:
        values["MY_GRIDSQUARE_EXT"] = locator[8:]
    squares = list_grids(claimed)
    if len(squares) > 1:
        values["MY_VUCC_GRIDS"] = ",".join(squares)
    elif len(claimed) > 1 and not squares:
        notes.append("MY_VUCC_GRIDS is not set: it takes squares or subsquares, and the visit claims fields.")
    values["MY_LAT"], values["MY_LON"] = format_location(visit.lat, "lat"), format_location(visit.lon, "lon")
    if visit.call:
        values["STATION_CALLSIGN"] = visit.call.upper()
    if visit.operator and _CALL.fullmatch(visit.operator):
        values["OPERATOR"] = visit.operator.upper()
    elif visit.operator:
        notes.append(f"OPERATOR is not set: it takes a call sign, and {visit.operator!r} is none.")
    if sig:
        values |= dict(zip(SIGNATURE, (sig, reference), strict=True))
    for name, value in values.items():
        if not (value.isascii() and value.isprintable()):
            raise InputError(
                f"{name} {value!r}", "ADI holds plain ASCII characters only", "spell it out without accents"
            )
    absent = () if len(squares) > 1 else ("MY_VUCC_GRIDS",)
    here = replace(visit, locators=claimed or (locator,))
    names = frozenset(text.lower() for level in range(1, 5) for text in list_grids_at(here, level))
    return StampClaim(values, names, absent, tuple(notes))


def _list_claimed(visit: Visit, grids: Sequence[str] | None) -> tuple[str, ...]:
    there = {text.upper(): text for text in visit.locators}
    if grids is None:
        claimed = visit.locators
    else:
        strange = [text for text in grids if text.upper() not in there]
        if strange:
            raise InputError(
                f"grid {strange[0]}", "the visit does not claim it", f"it has {' '.join(visit.locators)}"
            )
        claimed = tuple(dict.fromkeys(there[text.upper()] for text in grids))
    squares = list_grids(claimed)
    if len(squares) == 3:
        pairs = ", ".join(",".join(pair) for pair in list_choices(squares))
        raise InputError(
            " ".join(squares),
            "ADIF takes two or four grids, and has no form for three",
            MeasuredText("choose with ", SettingName("grids"), f": one of them, or {pairs}"),
        )
    if len(squares) > 4 or (len(squares) > 1 and not are_adjacent(squares)):
        raise InputError(
            " ".join(squares),
            "ADIF takes two or four grids that meet",
            MeasuredText("choose with ", SettingName("grids"), " which to claim"),
        )
    return claimed


def _choose_locator(visit: Visit, claimed: Sequence[str]) -> str:
    """Locator of the position, as fine as it is known, or of the claimed ground nearest to it."""
    here = encode(visit.lon, visit.lat, choose_fineness(visit.error_m))
    if not claimed or any(here.startswith(text) or text.startswith(here) for text in claimed):
        return here
    return list_grids_at(replace(visit, locators=tuple(claimed[:1])), choose_fineness(visit.error_m))[0]


def agrees(name: str, said: str, claim: StampClaim) -> bool:
    """Whether what a log says of a field already is what the visit says, if less or more exactly.

    Parameters
    ----------
    name : str
        A field of the claim.
    said : str
        The log's value, not empty.
    claim : Claim
    """
    value = claim.values[name]
    if name in ("MY_LAT", "MY_LON"):
        one, other = parse_location(said), parse_location(value)
        # E180 and W180 are one meridian.
        return one is not None and other is not None and abs(wrap_lon(one - other)) <= 1.01 * _THOUSANDTH_DEG
    if name == "MY_GRIDSQUARE":
        low, whole = said.lower(), value + claim.values.get("MY_GRIDSQUARE_EXT", "")
        return low in claim.names or (len(low) % 2 == 0 and whole.lower().startswith(low))
    if name == "MY_VUCC_GRIDS":
        return {part.strip().lower() for part in said.split(",")} == set(value.lower().split(","))
    if name in SIGNATURE:
        return said == value
    return said.lower() == value.lower()


# A log and a visit in, the log with the station's location out; no other byte of it changes.
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


class _FieldEdit(NamedTuple):
    start: int
    end: int
    text: str


def stamp_log(
    log: AdifLog, claim: StampClaim, inside: Iterable[int], *, force: bool = False, only_inside: bool = False
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
    edits: list[_FieldEdit] = []
    conflicts: list[Conflict] = []
    counts = dict.fromkeys((*claim.values, *claim.absent), 0)
    changed = carrying = 0
    for contact in log.contacts:
        if contact.number not in chosen:
            if only_inside:
                edits.append(_FieldEdit(contact.start, contact.end, ""))
            continue
        wanted, clashes = _list_wanted(log, contact, claim, force)
        conflicts += clashes
        edits += _make_edits(log, contact, wanted)
        changed += bool(wanted)
        for name in wanted:
            counts[name] = counts.get(name, 0) + 1
        after = {name: wanted.get(name, contact.value(name)) for name in SIGNATURE}
        carrying += all(after[name] == claim.values.get(name, "") for name in SIGNATURE)
    data = _splice_edits(log.text, edits).encode(log.codec)
    set_counts = tuple((name, count) for name, count in counts.items() if count)
    return Stamped(data, changed, set_counts, tuple(conflicts), carrying)


def _list_wanted(
    log: AdifLog, contact: Contact, claim: StampClaim, force: bool
) -> tuple[dict[str, str], list[Conflict]]:
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
        wanted |= _keep_whole_locator(contact, claim, mine) if group == PLACE else mine
    return wanted, conflicts


def _keep_whole_locator(contact: Contact, claim: StampClaim, mine: dict[str, str]) -> dict[str, str]:
    """Keep the extension beside the locator it continues, and beside no other."""
    name, more = "MY_GRIDSQUARE", "MY_GRIDSQUARE_EXT"
    after = mine.get(name, contact.value(name))
    if after.lower() != claim.values.get(name, "").lower():
        mine.pop(more, None)
    elif name in mine and more not in claim.values and contact.value(more):
        mine[more] = ""
    return mine


def _make_edits(log: AdifLog, contact: Contact, wanted: dict[str, str]) -> list[_FieldEdit]:
    edits = []
    new = []
    for name, value in wanted.items():
        field = contact.by_name.get(name)
        if field is None:
            new.append(f"<{name}:{len(value)}>{value}")
        elif value:
            edits.append(_FieldEdit(field.start, field.end, _write_field(log, field, value)))
        else:
            edits.append(_FieldEdit(field.start, field.end, ""))
    if new:
        at = contact.fields[-1].end if contact.fields else contact.eor
        edits.append(_FieldEdit(at, at, "".join(_find_separator(log, contact) + text for text in new)))
    return sorted(edits)


def _write_field(log: AdifLog, field: AdifField, value: str) -> str:
    """A field's own spelling of its name and type, with another value."""
    name = log.text[field.start : field.at].strip("<>").split(":")[0].strip()
    return f"<{name}:{len(value)}{':' + field.kind if field.kind else ''}>{value}"


def _find_separator(log: AdifLog, contact: Contact) -> str:
    """What parts the last two fields of a contact."""
    if len(contact.fields) < 2:
        return " "
    return log.text[contact.fields[-2].end : contact.fields[-1].start]


def _splice_edits(text: str, edits: list[_FieldEdit]) -> str:
    parts, at = [], 0
    for edit in edits:
        parts += [text[at : edit.start], edit.text]
        at = edit.end
    return "".join([*parts, text[at:]])


@dataclass(frozen=True, slots=True)
class StampedLog:
    """One log to write: its file's name, the park it is for, empty for all, and what became of it."""

    name: str
    park: str
    stamped: Stamped


@dataclass(frozen=True, slots=True)
class Stamping:
    """What stamping a log by a visit comes to; no logs where no contact was made in the visit."""

    log: AdifLog
    visit: Visit
    times: Timeline
    outputs: tuple[StampedLog, ...]
    notes: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether there are logs and nothing in them was left alone."""
        every = (one for output in self.outputs for one in output.stamped.conflicts)
        return bool(self.outputs) and all(one.replaced for one in every)
