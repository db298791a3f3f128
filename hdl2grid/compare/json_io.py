"""changes.json: a change list as data. Its sections are those of guide.json."""

from __future__ import annotations

from hdl2grid.base.strict_json import line, lines
from hdl2grid.compare.model import ChangeList
from hdl2grid.guide.json_io import section_text

FORMAT = "hdl2grid changes"
VERSION = 1
"""The version of the format, written into each file."""


def dump_changes(changes: ChangeList) -> str:
    """The text of changes.json; ends with a newline.

    `old` and `new` are the plans' names, `sections` what to do in order, `renamed` the devices whose names alone
    change ([x, y, new name or signal]), `backdrop_removed` areas, `retest` the nets of the new plan to test again,
    `strokes` the numbers of strokes taken up and laid, and `touched` how many tiles change.
    """
    found = changes.difference
    renamed = (line([new.x, new.y, new.name or new.signal]) for _, new in found.renamed)
    retest = (
        line({"name": r.name, "colour": r.colour, "strokes": [list(s) for s in r.strokes]}) for r in changes.retest
    )
    members = [
        f'"format": {line(FORMAT)}',
        f'"version": {VERSION}',
        f'"old": {line(changes.old.name)}',
        f'"new": {line(changes.new.name)}',
        f'"touched": {len(found.touched)}',
        f'"share_touched": {line(round(changes.share_touched, 4))}',
        f'"strokes": {line({"unwire": len(found.unwired), "wire": len(found.wired)})}',
        f'"renamed": [{lines(renamed, "  ")}]',
        f'"backdrop_removed": {line([list(area) for area in found.backdrop_removed])}',
        f'"retest": [{lines(retest, "  ")}]',
        f'"sections": [{lines((section_text(s) for s in changes.sections), "  ")}]',
    ]
    return "{" + lines(members, "") + "}\n"
