"""Specimens side by side in one table: heads that repeat themselves, such as Force, Travel, Force, Travel."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

__all__ = ["side_by_side", "specimen_names"]

Labels = list[list[tuple[str, str]]]  # by specimen, by column: what is common to all specimens, and what is this one's own


def side_by_side(names: Sequence[str]) -> Iterator[tuple[int, Labels]]:
    """Yield each way in which a head may repeat itself: columns of a specimen, and what is common and own in their names.

    In every column some words must be common to all specimens (Force), and what is left (S1, S2; or nothing) must be the
    same in all columns of one specimen and not that of another.
    """
    plain = [name.replace("_", " ").split() for name in names]
    while plain and not plain[-1]:  # a delimiter at the end of the line
        plain.pop()
    for period in range(2, len(plain) // 2 + 2):
        if period >= len(plain) or (len(plain) % period and len(plain) % period != period - 1):
            continue
        padded = [*plain, *([[]] * (-len(plain) % period))]
        groups = [padded[i : i + period] for i in range(0, len(padded), period)]
        labels = _parted(groups)
        if labels is not None:
            yield period, labels


def _parted(groups: list[list[list[str]]]) -> Labels | None:
    """Return the common and the own part of every name; None where the groups are not alike."""
    common = [
        {word.lower() for word in column[0]}.intersection(*({w.lower() for w in name} for name in column))
        for column in zip(*groups, strict=True)
    ]
    labels: Labels = []
    for group in groups:
        found = []
        for name, shared in zip(group, common, strict=True):
            if name and not shared:
                return None
            own = " ".join(word for word in name if word.lower() not in shared)
            found.append((" ".join(word for word in name if word.lower() in shared), own))
        if len({own for (_, own), name in zip(found, group, strict=True) if name}) != 1:
            return None
        labels.append(found)
    owns = [found[0][1] for found in labels]
    return labels if len(set(owns)) in (1, len(owns)) else None


def specimen_names(labels: Labels, above: Sequence[Sequence[str]]) -> list[str]:
    """Return the specimens' names: their own words in the head, else the cells of a line above it, else nothing."""
    names = [found[0][1] for found in labels]
    if any(names):
        return names
    period = len(labels[0])
    for row in reversed(above):
        cells = [next((cell for cell in row[i * period : (i + 1) * period] if cell), "") for i in range(len(labels))]
        if all(cells) and len(set(cells)) == len(cells):
            return cells
    return [""] * len(labels)
