"""Ways in which a sheet goes wrong between the bench and the program, each drawn from one seed."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

# values that no bench ever wrote, and those that a bench writes wrongly
VALUES = (
    "nan", "inf", "-inf", "-1", "0", "1e308", "-1e308", "1e-320", "1e999", "-0.0", "99999999999999999999999", "1e19", "5e-324",
    '"nan g"', '"inf degC"', '"-5 g"', '"1e308 g"', '"1e400 kPa"', '"0 g"', '"98.6 ± nan kPa"', '"98.6 ± 1e300 kPa"',
    '"98,6 kPa"', '"12 furlongs"', '"400 wt%"', '"-3 wt%"', '"1e-300 wt%"', '"0 ± 0 g"', '"°C"', '"±"', '""', '" "', '"\\u0000"',
    "true", "[]", "{}", "[[]]", "[1, 2]", '["a", "a"]', "{ a = 1 }", "2026-02-31", "1979-05-27", "07:32:00", "0x1F", "1_000",
    '"tetrachloroethylene"', '"trichloroethylene"', '["trichloroethylene"]', '["chloroform", "chloroform"]',
    '"' + "x" * 4000 + '"',     '"../../../etc"', '"."', '"\\u202e"', "'''a\nb'''", '"ü€😀"', "-9223372036854775809",
)  # fmt: skip
CELLS = (
    "", " ", "nan", "inf", "-inf", "-1", "0", "1e308", "1e999", "1e-320", "abc", "1,2,3", '"', "°C", "87.3 ± nan", "87.3 K",
    "1.48 sg20/20", "1.48 sg999999/20", "87.3 ± 1e300", "99999999", "−5", "1.2.3", "=1+1", "\u202e", "x" * 4000,
    "12:30", "1e19 h",
)  # fmt: skip

Mangler = Callable[[random.Random, bytes], bytes]


def _bytes(chance: random.Random, data: bytes) -> bytes:
    made = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 8))):
        if made:
            made[chance.randrange(len(made))] = chance.randrange(256)
    return bytes(made)


def _cut(chance: random.Random, data: bytes) -> bytes:
    first, last = sorted((chance.randrange(len(data) + 1), chance.randrange(len(data) + 1)))
    return data[:first] + data[last:] if chance.random() < 0.5 else data[:first]


def _encoded(chance: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8", "replace")
    encoding = chance.choice(("utf-16", "utf-16-le", "utf-8-sig", "cp1252", "utf-32", "cp437", "shift-jis"))
    return text.encode(encoding, "replace")


def _lines_ended(chance: random.Random, data: bytes) -> bytes:
    return data.replace(b"\n", chance.choice((b"\r\n", b"\r", b"\n\n", b"\n\r", b"\x0b", b"\x00\n")))


def _lines(chance: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    if not lines:
        return data
    place, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    way = chance.randrange(4)
    if way == 0:
        del lines[place]
    elif way == 1:
        lines.insert(other, lines[place])
    elif way == 2:
        lines[place], lines[other] = lines[other], lines[place]
    else:
        lines += lines * chance.choice((1, 20))
    return b"".join(lines)


def _value(chance: random.Random, data: bytes) -> bytes:
    """One value of a .toml file becomes another, or one key another."""
    lines = data.decode("utf-8", "replace").splitlines()
    places = [place for place, line in enumerate(lines) if "=" in line]
    if not places:
        return data
    for _ in range(chance.choice((1, 1, 3))):
        place = chance.choice(places)
        key, _, _ = lines[place].partition("=")
        if chance.random() < 0.15:
            lines[place] = lines[place].replace(
                key.strip(), chance.choice(("purity", "mass", "date", "ü", "x.y", '""')), 1
            )
        else:
            lines[place] = f"{key}= {chance.choice(VALUES)}"
    return "\n".join(lines).encode("utf-8", "replace")


def _cell(chance: random.Random, data: bytes) -> bytes:
    """Some cells of a table become others; in the first row these are headings."""
    lines = data.decode("utf-8", "replace").splitlines()
    if not lines:
        return data
    sign = ";" if ";" in lines[0] else ","
    for _ in range(chance.choice((1, 1, 3, 10))):
        place = chance.randrange(len(lines))
        cells = lines[place].split(sign)
        cells[chance.randrange(len(cells))] = chance.choice(CELLS if place else (*CELLS[:4], *lines[0].split(sign)))
        lines[place] = sign.join(cells)
    return "\n".join(lines).encode("utf-8", "replace")


def _figure(chance: random.Random, data: bytes) -> bytes:
    """One figure somewhere becomes another, the text around it stays."""
    text = data.decode("utf-8", "replace")
    figures = list(re.finditer(r"\d+(\.\d+)?", text))
    if not figures:
        return data
    found = chance.choice(figures)
    new = chance.choice(
        ("0", "-1", "1e9", "1e308", "1e999", "1e-300", "nan", "inf", "000", "9" * 400, "0.5", "100", "null", "1e5000")
    )
    return (text[: found.start()] + new + text[found.end() :]).encode("utf-8", "replace")


def _nothing(chance: random.Random, data: bytes) -> bytes:
    return chance.choice(
        (b"", b"\n", b"\xef\xbb\xbf", b"\x00", b"PK\x03\x04", b"[" * 2000, b'{"a":' * 2000, b",,,,\n" * 50)
    )


def mangled(data: bytes, seed: int, table: bool) -> bytes:
    """``data`` mangled in one to three ways; ``table``: whether it is one of rows and columns."""
    chance = random.Random(seed)
    likely: tuple[Mangler, ...] = (_cell, _figure) if table else (_value, _figure)
    for _ in range(chance.choice((1, 1, 2, 3))):
        any_way = (_bytes, _cut, _encoded, _lines_ended, _lines, _nothing)
        data = chance.choice(likely if chance.random() < 0.7 else any_way)(chance, data)
    return data


def mangle(path: Path, seed: int) -> None:
    """Mangle one file in place; now and then a folder stands in its place, or nothing."""
    chance = random.Random(seed)
    data = path.read_bytes()
    if chance.random() < 0.02:
        path.unlink()
        if chance.random() < 0.5:
            path.mkdir()
    else:
        path.write_bytes(mangled(data, seed, path.suffix == ".csv"))
