"""Recordings, logs and notebooks that are sound files of odd content: hikes, errors, years, rows that are no visits."""

from __future__ import annotations

import random
import shutil
import sqlite3
from contextlib import closing
from functools import reduce
from operator import xor
from pathlib import Path

from fuzz.damage_bytes import Maker

__all__ = ["MUST_BE_REFUSED", "MUST_BE_TAKEN", "RECORDS"]

_TIMES = [
    *(
        "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:59:59-14:00",
        "0226-02-15T18:05:00Z",
        "2206-02-15T18:05:00Z",
    ),
    *(
        "226-02-15T18:05:00Z",
        "1979-12-31T23:59:59Z",
        "2100-01-01T00:00:00",
        "20260214T180500",
        "noon",
        "",
        "\0",
    ),
]


def _hit(whole: Path, folder: Path) -> Path:
    return folder / f"hit{whole.suffix}"


def _sentence(body: str) -> str:
    return f"${body}*{reduce(xor, body.encode('latin-1'), 0):02X}"


def _clock(chance: random.Random, k: int, one: bool) -> str:
    second = 0 if one else k % 60
    return f"10{15 if one else 15 + k // 60:02d}{second:02d}{chance.choice(('', '.00', '.000'))}"


def _hike_nmea(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Fixes at least 100 m apart, of one time or a second apart."""
    one, step = chance.random() < 0.5, chance.uniform(0.06, 5)  # minutes of latitude
    lines = []
    for k in range(chance.choice((2, 6, 40))):
        minutes = (k * step) % 59
        dop = chance.choice(("0.8", "9.9", "40.0", ""))
        place = f"{44 + int(k * step // 59)}{minutes:07.4f},N,02000.0000,W"
        lines.append(_sentence(f"GPGGA,{_clock(chance, k, False)},{place},1,09,{dop},200,M,,M,,"))
        if one:
            lines[-1] = _sentence(f"GPGGA,,{place},1,09,{dop},200,M,,M,,")
        if chance.random() < 0.3:
            lines.append(
                _sentence(f"GPGST,{_clock(chance, k, False)},1,,,,{chance.choice((1, 900, 10**9))},5,2")
            )
    _hit(whole, folder).write_text("\r\n".join(lines), encoding="ascii", newline="")
    return _hit(whole, folder)


def _hike_gpx(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Track points or waypoints kilometres apart, without times of use or a second apart."""
    kind, same = (
        chance.choice(("trkpt", "wpt")),
        chance.choice(("<time>2026-02-14T18:05:00Z</time>", "", None)),
    )
    points = []
    for k in range(chance.choice((2, 6, 50))):
        time = f"<time>2026-02-14T18:05:{k:02d}Z</time>" if same is None else same
        dop = chance.choice(("", "<hdop>40</hdop>"))
        points.append(f'<{kind} lat="{45 + k / 100}" lon="-20">{time}{dop}</{kind}>')
    body = "".join(points)
    body = f"<trk><trkseg>{body}</trkseg></trk>" if kind == "trkpt" else body
    _hit(whole, folder).write_text(f"<gpx>{body}</gpx>", encoding="utf-8")
    return _hit(whole, folder)


def _odd_sentences(whole: Path, folder: Path, chance: random.Random) -> Path:
    """A sound log with stated errors of any size, talker and time among its sentences, dates and endless lines."""
    lines = whole.read_text("ascii").splitlines()
    for _ in range(chance.choice((1, 20, 400))):
        at = chance.randrange(len(lines) + 1)
        clock = chance.choice((lines[max(at - 1, 0)].split(",")[1][:6], "", "235960", "101500"))
        value = chance.choice(("0.0", "3.1", "60", "9" * 30, "9" * 400, "", "-1", "nan", "1e9"))
        more = chance.choice(("1.0", "", value))
        body = chance.choice(
            [
                f"{chance.choice(('GP', 'GL', 'GN'))}GST,{clock},1,{value},{more},0,{value},{more},2",
                f"GPGBS,{clock},{value},{more},2,,,,",
                f"GPZDA,{clock},{chance.choice(('01', '31', '99'))},02,{chance.choice((1, 1979, 2024, 2100, 9999, 10**9))},,",
                f"GPGGA,{clock},4500.0002,N,02000.0002,W,{value},09,{value},200,M,,M,,",
            ]
        )
        lines.insert(at, _sentence(body))
    end = chance.choice(("\r\n", "\n", "\r", ""))
    filler = chance.choice(("", "", "$" * 3_000_000, "x" * 3_000_000, "$a" * 500_000, "\0" * 3_000_000))
    at = chance.randrange(len(lines) + 1)
    text = end.join([*lines[:at], filler, *lines[at:]])
    _hit(whole, folder).write_text(text, encoding="ascii", newline="")
    return _hit(whole, folder)


def _odd_times(whole: Path, folder: Path, chance: random.Random) -> Path:
    """A sound track with times that no recording has, and texts, tags and names without end."""
    text = whole.read_text("utf-8")
    marks = text.split("<time>")
    for k in chance.sample(range(1, len(marks)), min(len(marks) - 1, chance.choice((1, 20, 999)))):
        time = chance.choice(_TIMES).replace("\0", "")
        marks[k] = time + marks[k][marks[k].find("</time>") :]
    text = "<time>".join(marks)
    long = chance.choice((10, 3_000_000))
    odd = chance.choice(
        ["", "", f"<{'a' * long}/>", f"<a b='{'c' * long}'/>", "<a>" * (long // 30), f"<time>{'1' * long}</time>",
         f"<wpt lat='{'1' * long}' lon='1'/>", "<a " + " ".join(f"b{k}=''" for k in range(long // 30)) + "/>"]
    )  # fmt: skip
    at = text.rfind("<")
    _hit(whole, folder).write_text(text[:at] + odd + text[at:], encoding="utf-8")
    return _hit(whole, folder)


def _odd_contacts(whole: Path, folder: Path, chance: random.Random) -> Path:
    """A sound log with contacts at the ends of the calendar and at no time at all."""
    contacts = []
    for _ in range(chance.choice((1, 30))):
        fields = {"CALL": "Q1AAA"}
        for name in ("QSO_DATE", "QSO_DATE_OFF"):
            days = (
                "00010101",
                "99991231",
                "00000000",
                "20260214",
                "2026021\u0664",
                "19000101",
                "99990101",
                "",
            )
            fields[name] = chance.choice(days)
        for name in ("TIME_ON", "TIME_OFF"):
            fields[name] = chance.choice(("0000", "2359", "235959", "2400", "1830", "", "12 0"))
        contacts.append("".join(f"<{n}:{len(v.encode())}>{v}" for n, v in fields.items()) + "<EOR>\n")
    text = whole.read_text("utf-8")
    _hit(whole, folder).write_text(text + "".join(contacts), encoding="utf-8")
    return _hit(whole, folder)


_COLUMNS = (
    *(
        "geom",
        "started",
        "ended",
        "error_m",
        "level",
        "locators",
        "confidence",
        "call",
        "operator",
        "antenna",
    ),
    *("radio", "power_w", "bands", "contacts", "weather", "conditions", "went_well", "went_badly", "sheet"),
)


def _spoilt_rows(whole: Path, folder: Path, chance: random.Random) -> Path:
    """Any value of SQLite in any column of a notebook."""
    target = Path(shutil.copy(whole, _hit(whole, folder)))
    values = [
        *(
            "NULL",
            "5",
            "-1",
            "0",
            "9223372036854775807",
            "1e300",
            "9e999",
            "'text'",
            "''",
            "x''",
            "x'4750'",
            "'GP'",
        ),
        *(
            "x'80ff'",
            "cast(x'80ff' as text)",
            "char(0)",
            "zeroblob(3000000)",
            "hex(zeroblob(3000000))",
            "x'47500001'",
        ),
        *("'[[[['", "'JN44 ' || char(10) || 'ZZ'", "char(0x202e)", "'=cmd()'", "'1e999'", "'nan'"),
        *(f"'{time}'" for time in _TIMES if time != "\0"),
    ]
    with closing(sqlite3.connect(target)) as base:
        for _ in range(chance.choice((1, 1, 5, 20))):
            value, some = chance.choice(values), chance.choice(("", " where {} = 1"))
            if chance.random() < 0.2:
                column = chance.choice(("park", "name", "clearance_m", "confidence"))
                sql = f"update or ignore visit_parks set {column} = {value}{some.format('visit')}"
            else:
                sql = f"update visits set {chance.choice(_COLUMNS)} = {value}{some.format('fid')}"
            try:
                base.execute(sql)
            except sqlite3.IntegrityError:
                continue  # a park has an id
        base.commit()
    return target


# By format; what a suffix shares stands in `damage_formats`.
RECORDS: dict[str, dict[str, Maker]] = {
    "fixes, NMEA": {"hike": _hike_nmea, "odd sentences": _odd_sentences},
    "fixes, GPX": {"hike": _hike_gpx, "odd times": _odd_times},
    "log, ADI": {"odd contacts": _odd_contacts},
    "notebook": {"spoilt rows": _spoilt_rows},
}
MUST_BE_REFUSED = ("hike", "left out")
MUST_BE_TAKEN = ("spoilt rows",)  # whatever a row holds, the others are worth reading
