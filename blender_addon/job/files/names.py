"""Which texts can be a file's name on every system, and how are names filled in from a template?

The rules are those of the strictest system, so that a folder can be copied anywhere: Microsoft, "Naming Files, Paths, and
Namespaces" (reserved characters and device names, no dot or space at the end), and file systems that ignore upper and lower
case or write accents as separate characters (Unicode Standard Annex 15, normal forms).
"""

from __future__ import annotations

import re
import string
import unicodedata
from collections.abc import Iterable, Mapping

from ..errors import SheetError
from ..settings import nearest

LONGEST = 100
"""Bytes of UTF-8 that a name may have; most file systems hold 255, and suffixes and version numbers come on top."""
RESERVED = frozenset(
    ["con", "prn", "aux", "nul", "conin$", "conout$"]
    + [f"{port}{digit}" for port in ("com", "lpt") for digit in "0123456789¹²³"]
)
"""Names of devices on Windows, with any suffix; creating such a file there writes to the device."""
SEPARATORS = '/\\:*?"<>|'
VERSION = re.compile(r".+\.(v|yours)\d+$", re.IGNORECASE)
"""How an earlier version of a picture is named when it is put aside; a shot of that name would overwrite it."""
JOINERS = "\u200c\u200d"
"""Invisible letters that some scripts and combined signs need."""
_NUMBER = re.compile(r"0?\d?d?")


def problem(name: str) -> str:
    """What is wrong with a name, as the end of a sentence; '' when any system can have a file of that name."""
    if not name.strip():
        return "is empty"
    for letter in name:
        if letter in SEPARATORS:
            return f'holds "{letter}", which file names can\'t hold on every system'
        # Cc: control characters; Cf: invisible ones that turn the reading direction; Cs: halves of characters
        if letter not in JOINERS and unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp"):
            return f"holds the invisible character U+{ord(letter):04X}"
    if set(name) <= {".", " "}:
        return "names a folder above, not a file"
    if name != name.strip() or name.endswith("."):
        return "begins or ends with a space, or ends with a dot"
    if name.startswith("."):
        return "begins with a dot, which hides a file"
    if name.split(".")[0].strip().lower() in RESERVED:
        return "is the name of a device on Windows"
    if len(name.encode()) > LONGEST:
        return f"is longer than {LONGEST} bytes"
    return ""


def check_name(where: str, name: str) -> str:
    """The name, when any system can have a file of that name. Raises SheetError, which says `where` and what is wrong."""
    wrong = problem(name)
    if wrong:
        raise SheetError(f'{where} {_shown(name)} {wrong}: use letters, digits, spaces, "-" and "_"')
    return name


def cleaned(name: str, *, otherwise: str = "job") -> str:
    """A name like this one that passes `check_name`, for what comes from a file's own name; `otherwise` if none is left."""
    kept = "".join("_" if problem(f"a{letter}a") else letter for letter in name).strip(" .")
    while len(kept.encode()) > LONGEST:
        kept = kept[:-1].strip(" .")
    for likely in (kept, f"{kept}_"):  # an underscore makes "con" a plain word
        if kept and not problem(likely):
            return likely
    return otherwise


def folded(name: str) -> str:
    """A form that is equal for two names which a file system, or a person, may confuse."""
    seen = "".join(letter for letter in name if letter not in JOINERS)
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", seen).casefold())


def check_apart(where: str, names: Iterable[str]) -> None:
    """Raise SheetError when two of these names would be the same file on some system."""
    seen: dict[str, str] = {}
    for name in names:
        other = seen.get(folded(name))
        if other == name:
            raise SheetError(f"{where} has two pictures named {_shown(name)}: give each its own name")
        if other is not None:
            raise SheetError(
                f"{where}: {_shown(other)} and {_shown(name)} would be one file where case is ignored: give each its own name"
            )
        seen[folded(name)] = name


def check_template(where: str, template: str, fields: Iterable[str], *, apart: Iterable[str]) -> str:
    """The template of names, when it can be filled in. `apart`: fields of which one must stand in it, so that names differ.

    Only plain `{field}` can be filled in, and `{number}` with a width such as `{number:02}`: a template that could reach into
    objects would run code. Raises SheetError.

    where: the setting, as the error names it.
    """
    known = list(fields)
    listed = ", ".join(f"{{{field}}}" for field in known)
    found: list[str] = []
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        raise SheetError(f"{where} {_shown(template)} can't be read ({error}): write {listed}, and {{{{ for a brace") from None
    for _, field, width, conversion in parts:
        if field is None:
            continue
        if field not in known:
            raise SheetError(
                f"{where} asks for {_shown('{' + field + '}')}, which is not known{nearest(field, known)}: use {listed}"
            )
        if conversion or (width and not (field == "number" and _NUMBER.fullmatch(width))):
            raise SheetError(
                f"{where}: {{{field}}} takes no format; only a width of the number, as in {{number:02}}, is understood"
            )
        found.append(field)
    if not set(found) & set(apart):
        wanted = " or ".join(f"{{{field}}}" for field in apart)
        raise SheetError(f"{where} {_shown(template)} gives all pictures one name: put {wanted} into it")
    return template


def filled(where: str, template: str, values: Mapping[str, str | int]) -> str:
    """A template that `check_template` passed, filled in; raises SheetError when the outcome is not a name."""
    parts = []
    for words, field, width, _ in string.Formatter().parse(template):
        parts.append(words)
        if field is not None:
            value = values[field]
            parts.append(format(value, width or "") if isinstance(value, int) else value)
    return check_name(where, "".join(parts))


def _shown(name: str) -> str:
    """The name in quotes, invisible characters written out, cut when long."""
    short = name if len(name) <= 60 else f"{name[:57]}..."
    return '"' + "".join(letter if letter.isprintable() else f"\\u{ord(letter):04x}" for letter in short) + '"'
