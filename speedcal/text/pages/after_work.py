"""What happens next once the work is told and not yet driven."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.text.results.vehicle_summary import work_words
from speedcal.text.words.numbers import likely

if TYPE_CHECKING:
    from speedcal.vehicle import Corrections, Work


def road_test_steps(work: Work | None, corrections: Corrections | None, unit: str) -> tuple[str, ...]:
    """Ask for the road test of the work, with what the drive before leads one to expect; nothing without any work."""
    from speedcal.vehicle.choices.fitted import brought_by

    if work is None or work.is_nothing:
        return ()
    what = work_words(work, unit)
    test = f"Drive the road test of the work ({what}). Its sheet says which speeds to hold, and how long."
    if corrections is None or work.needle:
        return (test,)
    choice = brought_by(corrections.lists().values(), work.changes)
    if choice is None:
        return (test,)
    known = "By the drive before" if corrections.is_driven else "By the parts as stated"
    left = f"{choice.worst_error_percent:.1f} % error, {likely(choice.probability_passes)} sure to be enough."
    return test, f"{known} this leaves at most {left}"
