"""The differences between two sheets, item by item."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.setup.gauges import Reading
from telemetry.setup.items import Item
from telemetry.setup.resolution import DetectionLimit, detection_limit, same_text
from telemetry.setup.sheet import Measures


@dataclass(frozen=True, slots=True)
class ItemChange:
    """One item that differs between two sheets.

    Attributes
    ----------
    item : Item
        What changed.
    before, after : Reading or None
        None if the sheet has no value.
    difference : float or None
        After minus before, in the item's unit; None if one is missing or the item is not a number.
    limit : DetectionLimit or None
        What the two gauges can resolve, if there is a difference.
    """

    item: Item
    before: Reading | None
    after: Reading | None
    difference: float | None = None
    limit: DetectionLimit | None = None

    @property
    def beyond_gauges(self) -> bool | None:
        """Whether the two gauges can resolve the difference; None if there is none."""
        if self.before is None or self.after is None:
            return None
        return True if self.difference is None or self.limit is None else self.limit.tells(self.difference)


def item_changes(before: Measures, after: Measures) -> tuple[ItemChange, ...]:
    """List the items whose values differ, in the order of a sheet.

    The same value measured with another gauge is not a change; a value on only one of the sheets is.

    Parameters
    ----------
    before, after : SetupSheet or FoundMeasure
        Of one boat or of two.

    Returns
    -------
    tuple of ItemChange
        Empty if the setup is the same.
    """
    found = []
    for item in items_of(before, after):
        a, b = before.tune.get(item.name), after.tune.get(item.name)
        if a is None or b is None:
            found.append(ItemChange(item, a, b))
        elif isinstance(a.value, (str, bool)) or isinstance(b.value, (str, bool)):
            if not same_text(a.value, b.value):
                found.append(ItemChange(item, a, b))
        elif a.value != b.value:
            found.append(ItemChange(item, a, b, b.value - a.value, detection_limit(item, a, b)))
    return tuple(found)


def items_of(*measures: Measures) -> tuple[Item, ...]:
    """List the items of the setup that any of them has, in the order of a sheet."""
    items = {name: one.item(name) for one in measures for name in one.tune}
    return tuple(sorted(items.values(), key=lambda item: (item.order, item.name)))
