"""A change list as text: 80 columns, one line a stroke or device, numbered like a guide."""

from __future__ import annotations

from hdl2grid.compare.model import ChangeList
from hdl2grid.guide.sentences import at
from hdl2grid.show.guide_text import from_to_lines, restore_lines, section_lines, wrapped

MARK = "hdl2grid changes, text edition 1"


def changes_text(changes: ChangeList) -> str:
    """The whole change list; ends with a newline."""
    found = changes.difference
    lines = [MARK, *wrapped(f"from {changes.old.name} to {changes.new.name}"), ""]
    lines += list(wrapped(summary(changes)))
    for number, section in enumerate(changes.sections, 1):
        lines += section_lines(number, section)
    if found.renamed:
        lines += ["", "Names that change, and nothing else", "-" * 35]
        for was, becomes in found.renamed:
            old_name, new_name = was.name or was.signal, becomes.name or becomes.signal
            lines += wrapped(f"  {was.kind} {at((was.x, was.y))}: {old_name} is now {new_name}", "      ")
    lines += from_to_lines(changes.retest, "Nets to test again")
    lines += restore_lines(changes.restore)
    return "\n".join(lines).rstrip() + "\n"


def summary(changes: ChangeList) -> str:
    """How much changes, in one sentence."""
    found = changes.difference
    if found.is_empty and not found.renamed:
        return "Both plans lay the same machine."
    return (
        f"{len(found.touched)} tiles change ({100 * changes.share_touched:.1f} % of those in use): "
        f"{len(found.removed)} devices go, {len(found.added)} come, {len(found.changed)} change; "
        f"{len(found.unwired)} strokes of wire are taken up, {len(found.wired)} laid; "
        f"{len(changes.retest)} nets are to be tested again."
    )
