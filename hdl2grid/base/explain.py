"""The explanations behind the message codes: `hdl2grid/base/messages/<letter>.toml`, one file per room."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

from hdl2grid.base.errors import InputError

ROOMS = {
    "M": "machine and panel",
    "L": "logic",
    "S": "synthesis",
    "N": "nets",
    "P": "placement and routing",
    "R": "layout rules of a plan",
    "J": "JSON files",
    "V": "verification and checks",
    "C": "command line",
    "T": "target",
    "G": "guide",
    "D": "change list",
    "W": "drawings, page and guide",
}


@dataclass(frozen=True)
class Message:
    """What a message of `code` means and what to do about it."""

    code: str
    means: str
    do: str


@cache
def messages() -> Mapping[str, Message]:
    """Every registered message by its code, in the order of codes."""
    found: dict[str, Message] = {}
    folder = resources.files("hdl2grid.base") / "messages"
    for letter in sorted(ROOMS):
        file = folder / f"{letter}.toml"
        if file.is_file():
            for code, entry in sorted(tomllib.loads(file.read_text(encoding="utf-8")).items()):
                found[code] = Message(code, entry["means"].strip(), entry["do"].strip())
    return MappingProxyType(found)


def explain(code: str) -> Message:
    """The explanation of `code`, written as "R012", "r012" or "H2G-R012". Raises InputError (C005)."""
    wanted = re.sub("^H2G-", "", code.strip().upper())
    known = messages()
    if wanted not in known:
        raise InputError("C005", f"there is no message '{code}'", hint="`hdl2grid explain` lists all.")
    return known[wanted]
