"""Gear families: which teeth a drive can be fitted with, and how its housing must stand for them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from speedcal.errors import VehicleError
from speedcal.schema import TableReader
from speedcal.vehicle.data import shipped_families
from speedcal.whole_file import read_small


@dataclass(frozen=True, slots=True)
class TeethRange:
    """Whole tooth counts that exist, and who says so."""

    teeth: tuple[int, ...]
    source: str
    status: str

    def __str__(self) -> str:
        return f"{self.teeth[0]}-{self.teeth[-1]}" if len(self.teeth) > 1 else str(self.teeth[0])


@dataclass(frozen=True, slots=True)
class GearFamily:
    """Driven and drive gears that fit one kind of drive, and the orientations of its housing."""

    name: str
    title: str
    driven: TeethRange | None
    drive: TeethRange | None
    orientations: tuple[TeethRange, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    """Text and source of what to mind at the bench."""

    def has(self, gear: str, teeth: int) -> bool | None:
        """Tell whether a ``driven_gear`` or ``drive_gear`` of so many teeth exists; None where the family is silent."""
        known = self.driven if gear == "driven_gear" else self.drive
        return None if known is None else teeth in known.teeth

    def orientation(self, driven_teeth: int) -> str | None:
        """Return the tooth range that must face down for this driven gear; None when the housing is not indexed."""
        return next((str(item) for item in self.orientations if driven_teeth in item.teeth), None)

    def sources(self) -> list[dict[str, str]]:
        """Return where each value comes from, ready for JSON."""
        named = [("driven gear", self.driven), ("drive gear", self.drive)]
        named += [(f"orientation {item}", item) for item in self.orientations]
        return [{"value": name, "source": item.source, "status": item.status} for name, item in named if item]

    def from_memory(self) -> list[dict[str, str]]:
        """Return which of its values nobody looked up: the part, and its teeth."""
        parts = [("driven_gear", self.driven), ("drive_gear", self.drive)]
        parts += [("housing", item) for item in self.orientations]
        return [{"part": part, "teeth": str(item)} for part, item in parts if item and item.status == "from memory"]

    @classmethod
    def from_dict(cls, table: Mapping[str, Any], *, source: str) -> GearFamily:
        """Read a family from its table; the shipped files under ``data/gear_families`` are examples of the form.

        Raises
        ------
        VehicleError
            A name is unknown, or a value is missing or unusable; every problem is listed.
        """
        reader = TableReader(table, "gear_family", where="")
        name = reader.get("name", "")
        driven, drive = (_teeth_range(reader, key, reader.get(key)) for key in ("driven", "drive"))
        orientations = [_teeth_range(reader, "orientation", item) for item in reader.get("orientation", [])]
        notes = reader.get("note", [])
        reader.finish(source=source, kind=VehicleError)
        return cls(
            name=name,
            title=reader.get("title", name),
            driven=driven,
            drive=drive,
            orientations=tuple(item for item in orientations if item),
            notes=tuple((str(note.get("text", "")), str(note.get("source", "not stated"))) for note in notes),
        )


def load_family(given: str | Mapping[str, Any], *, folder: Path | None) -> GearFamily:
    """Return a family by the name of a shipped one, from a table, or from a TOML file beside the job file.

    Parameters
    ----------
    given
        Name, table, or name of a file that ends in ``.toml`` and lies in ``folder`` or below.
    folder
        Where the job file stands; None when there is none.

    Raises
    ------
    VehicleError
        There is no such family or file, or the family cannot be used.
    """
    if isinstance(given, Mapping):
        return GearFamily.from_dict(given, source="")
    if given.lower().endswith(".toml"):
        return _read_family(given, folder)
    shipped = shipped_families()
    if given not in shipped:
        raise VehicleError("unknown_gear_family", given=given, known=sorted(shipped))
    return GearFamily.from_dict(shipped[given], source=f"{given} (shipped)")


def _read_family(name: str, folder: Path | None) -> GearFamily:
    path = Path(name.replace("\\", "/"))  # Windows parts folders by either
    if folder is None or path.is_absolute() or ".." in path.parts:
        raise VehicleError("gear_family_elsewhere", file=name)
    try:
        table = tomllib.loads(read_small(folder / path).decode("utf-8-sig"))
    except FileNotFoundError:
        raise VehicleError("gear_family_missing", file=name) from None
    except (OSError, ValueError, RecursionError) as error:
        raise VehicleError("gear_family_unreadable", file=name, why=str(error)) from None
    return GearFamily.from_dict(table, source=name)


def _teeth_range(reader: TableReader, key: str, value: Mapping[str, Any] | None) -> TeethRange | None:
    if value is None:
        return None
    inner = TableReader(value, "gear_teeth", where=key)
    reader.problems += inner.problems
    if "teeth" not in inner.values:
        return None
    return TeethRange(inner.values["teeth"], inner.get("source", "not stated"), inner.get("status", "not stated"))
