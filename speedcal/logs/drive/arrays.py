"""Records of arrays, made of whatever a caller gives for one: lists, columns of a table, whole numbers."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

_KINDS = {"FloatArray": np.float64, "IntArray": np.int64}


def as_arrays(record: Any) -> None:
    """Turn every field of a frozen record that is an array into one, all of one length.

    Raises
    ------
    ValueError
        A field holds no numbers, or more or fewer than the first.
    """
    length, first = -1, ""
    for item in fields(record):
        kind = _KINDS.get(str(item.type).removesuffix(" | None"))
        given = getattr(record, item.name)
        if kind is None or given is None:
            continue
        array = np.asarray(given)
        if array.dtype.kind not in "fiub":
            raise ValueError(f"{item.name} must be numbers, not {array.dtype}")
        if not first:
            length, first = array.size, item.name
        if array.shape != ((length, length) if item.name == "correlation" else (length,)):
            raise ValueError(f"{item.name} has the shape {array.shape}, and {first} has {length} numbers")
        object.__setattr__(record, item.name, array.astype(kind, copy=False))
