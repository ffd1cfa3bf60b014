"""Ways to spoil a file: each takes its bytes and a source of chance and gives other bytes."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

Spoil = Callable[[bytes, random.Random], bytes]

_NUMBER = re.compile(rb"(?<![\w.])-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_WORD = re.compile(rb'"[^"\n]{0,60}"|[A-Za-z_][\w .]{0,30}')

NUMBERS = (
    *(b"nan", b"inf", b"-inf", b"1e300", b"-1e300", b"1e-300", b"1e999", b"0", b"-0.0", b"-1"),
    *(b"9" * 400, b"1e9", b"12345678901234567890", b"0x10", b"1_000", b"true", b"1,5", b"1.2.3"),
    *(
        b"--1",
        b"",
        b'""',
        b"null",
        b"[]",
        b"{}",
        "٣".encode(),
        b"1e-12",
        b"360",
        b"90.5",
        b"4.9e-324",
    ),
)
WORDS = (
    *(
        "",
        " ",
        "../../../../etc/passwd",
        "/etc/passwd",
        "/dev/zero",
        "/dev/stdin",
        "/proc/self/mem",
    ),
    *(
        ".",
        "..",
        "~",
        "/",
        "con",
        "site.toml",
        "ags.toml",
        "houses.gpkg",
        "ground.tif",
        "nan",
        "inf",
    ),
    *("http://127.0.0.1:9/x.geojson", "/vsicurl/http://127.0.0.1:9/x.tif", "/vsimem/x.tif"),
    *("EPSG:4326", "EPSG:2263", "EPSG:3857", "EPSG:99999", "EPSG:5703", "+proj=merc", "WGS84"),
    *("1 m/s/s/s", "1e400 m/s", "5 furlong", "-3 m", "3 K", "nan m", "1e300 m", "0 m", "1e-30 m/s"),
    *("$(touch pwned)", "`touch pwned`", "__import__('os').system('touch pwned')", "=1+1"),
    *("{0.__class__.__init__}", "%s%n%d", "<script>alert(1)</script>", "'; DROP TABLE x; --"),
    *(
        "\u202egnp.exe",
        "\ufeff",
        "😀" * 500,
        "a" * 5000,
        "\x7f",
        "Ω",
        "x\ty",
        "sand",
        "clay",
        "river",
    ),
    *(
        "house.gpkg#other",
        "pit.geojson#pit",
        "outline",
        "auto",
        "kriging",
        "us",
        "1/0",
        "1/500",
        "50 %",
    ),
)


def number(data: bytes, chance: random.Random) -> bytes:
    """One number is another."""
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    one = chance.choice(found)
    if chance.random() < 0.3:  # feet for metres, a slip of the decimal point, a wrong sign
        value = float(one[0]) * chance.choice((3.28084, 0.3048, 10, 0.1, 1000, 1e-3, -1, 1e6))
        new = repr(value).encode()
    else:
        new = chance.choice(NUMBERS)
    return data[: one.start()] + new + data[one.end() :]


def swapped(data: bytes, chance: random.Random) -> bytes:
    """Two neighbouring numbers change places, as x and y may."""
    found = list(_NUMBER.finditer(data))
    if len(found) < 2:
        return data
    at = chance.randrange(len(found) - 1)
    a, b = found[at], found[at + 1]
    return data[: a.start()] + b[0] + data[a.end() : b.start()] + a[0] + data[b.end() :]


def scaled(data: bytes, chance: random.Random) -> bytes:
    """All large numbers in another unit or system; all others left alone."""
    factor = chance.choice((3.28084, 0.3048, 1e-3, 1e3, -1, 1e-5))
    return _NUMBER.sub(
        lambda m: repr(float(m[0]) * factor).encode() if abs(float(m[0])) > 1e5 else m[0], data
    )


def word(data: bytes, chance: random.Random) -> bytes:
    """One word or quoted text is another."""
    found = list(_WORD.finditer(data))
    if not found:
        return data
    one = chance.choice(found)
    new = chance.choice(WORDS).encode()
    if one[0].startswith(b'"'):
        new = b'"' + new.replace(b"\\", b"\\\\").replace(b'"', b'\\"') + b'"'
    return data[: one.start()] + new + data[one.end() :]


def line_gone(data: bytes, chance: random.Random) -> bytes:
    """A line, or several, are missing."""
    lines = data.split(b"\n")
    at = chance.randrange(len(lines))
    del lines[at : at + chance.choice((1, 1, 1, 3, 10))]
    return b"\n".join(lines)


def line_moved(data: bytes, chance: random.Random) -> bytes:
    """A line stands elsewhere, or twice, or a hundred times."""
    lines = data.split(b"\n")
    one = chance.choice(lines)
    times = chance.choice((1, 1, 100))
    at = chance.randrange(len(lines))
    return b"\n".join([*lines[:at], *[one] * times, *lines[at:]])


def sign_gone(data: bytes, chance: random.Random) -> bytes:
    """A bracket, quote, comma or the like is missing or stands twice."""
    found = [i for i, byte in enumerate(data) if byte in b'[]{}",=:#;\n']
    if not found:
        return data
    at = chance.choice(found)
    return data[:at] + data[at : at + 1] * chance.choice((0, 2)) + data[at + 1 :]


def cut(data: bytes, chance: random.Random) -> bytes:
    """The file ends early, or begins late, or lacks a stretch."""
    a, b = sorted(chance.randrange(len(data) + 1) for _ in range(2))
    return chance.choice((data[:a], data[b:], data[:a] + data[b:], b""))


def bits(data: bytes, chance: random.Random) -> bytes:
    """Some bytes are others."""
    spoiled = bytearray(data)
    for _ in range(chance.choice((1, 4, 40))):
        if spoiled:
            spoiled[chance.randrange(len(spoiled))] = chance.randrange(256)
    return bytes(spoiled)


def noise(data: bytes, chance: random.Random) -> bytes:
    """Something is put in that is no text."""
    at = chance.randrange(len(data) + 1)
    new = chance.choice(
        (b"\0", b"\0" * 1000, b"\x1a", b"\xff\xfe", b"\xef\xbb\xbf", b"\x0c", b"\r", b"\x85")
    )
    return data[:at] + new + data[at:]


def encoded(data: bytes, chance: random.Random) -> bytes:
    """Another encoding, mark or line end."""
    text = data.decode("utf-8", "replace")
    kinds: tuple[Callable[[], bytes], ...] = (
        lambda: text.encode("utf-16"),
        lambda: text.encode("utf-16-le"),
        lambda: text.encode("utf-32"),
        lambda: text.encode("utf-8-sig"),
        lambda: text.replace("sand", "sånd").encode("latin-1", "replace"),
        lambda: text.replace("sand", "sånd").encode("utf-8"),
        lambda: text.replace("\n", "\r\n").encode(),
        lambda: text.replace("\n", "\r").encode(),
        lambda: text.replace("\n", "\n\n").encode(),
        lambda: text.replace("\n", "\u2028").encode(),
        lambda: text.replace(",", ";").encode(),
        lambda: text.replace(",", "\t").encode(),
        lambda: text.replace(".", ",").encode(),
        lambda: text.replace(" ", "\u00a0").encode(),
        lambda: text.upper().encode(),
    )
    return chance.choice(kinds)()


def much(data: bytes, chance: random.Random) -> bytes:
    """Far more of the same, or one very long line, or very deep."""
    kinds: tuple[Callable[[], bytes], ...] = (
        lambda: data * 50,
        lambda: data + b"x" * 1_000_000,
        lambda: data + b"," * 200_000,
        lambda: data + b"[" * 50_000,
        lambda: data.replace(b"\n", b" "),
        lambda: b"a = " + b"[" * 5_000 + b"]" * 5_000 + b"\n" + data,
    )
    return chance.choice(kinds)()


TEXT: tuple[Spoil, ...] = (
    *(number, number, number, swapped, scaled, word, word, line_gone, line_moved, sign_gone),
    *(cut, bits, noise, encoded, much),
)
BINARY: tuple[Spoil, ...] = (cut, bits, bits, noise, much)
