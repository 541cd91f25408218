"""Words for reading a filmed dial."""

from __future__ import annotations

from collections.abc import Mapping

from speedcal.text.messages import Template, label
from speedcal.text.words.numbers import counted, joined

_EXAMPLE = "Write rows such as marks = [[0, 402, 655], [20, 331, 480], [40, 420, 318]]: value, x, y in pixels"

REFUSALS: dict[str, tuple[Template, Template]] = {
    "dial_file_not_toml": ("the dial file cannot be read: {reason}", _EXAMPLE),
    "dial_file_unknown_key": ("{key:quoted} is not a key of a dial file", "Use {known:and}"),
    "dial_file_unit": ("the dial's unit {found:quoted} is not a unit of speed", 'Write unit = "mph" or unit = "km/h"'),
    "dial_file_marks": ("the dial file has {count:n mark}; three are needed, six or more are better", _EXAMPLE),
    "dial_file_mark_twice": ("the mark at {value:g} is given twice", "Keep one of them"),
    "dial_file_centre": ("the center is not two numbers", "Write centre = [x, y] in pixels, or leave it out"),
    "dial_file_frame": (
        "frame_s = {found} is not a moment of the film",
        "Give the seconds since the film's start at which the marks were taken",
    ),
    "dial_file_circle": (
        "the marks do not lie on a circle around one center",
        "Tap the same end of each tick, and check the numbers typed beside them",
    ),
    "dial_file_beside": (
        "the mark at {value:g} stands where the others put {there:.0f}",
        "Check its figure and its tick; leave it out if the dial is really so",
    ),
    "dial_file_step": (
        "the step from {low:g} to {high:g} is much wider or narrower than those beside it",
        "Check the figures: a tick may have been skipped or marked twice; if the dial is really so, leave out "
        "one of the two",
    ),
    "dial_file_order": (
        "the mark at {value:g} does not follow the others around the dial",
        "Check the values: they must grow in one direction around the dial",
    ),
    "film_extra_missing": ("reading films needs an extra that is not installed", "Run: pip install 'speedcal[film]'"),
    "film_unreadable": ("the film cannot be read: {reason}", "Give the video as the phone wrote it"),
    "film_without_video": ("the file has no video in it", "Give the video as the phone wrote it"),
    "film_empty": ("the film has no picture in it", "Give the video as the phone wrote it"),
    "film_too_long": ("the film lasts {length_s:seconds}; four hours are the most", "Cut it down to the drive"),
    "film_folder_untimed": (
        "only {timed} of {count:n picture} in the folder carry the time they were taken",
        "Give pictures as the camera wrote them, with their EXIF data",
    ),
    "film_marks_outside": (
        "a mark lies outside the picture, which has {width} x {height} pixels",
        "Take the marks in a frame of this film, as it is shown upright",
    ),
    "film_few_frames": (
        lambda values: (
            f"the dial could be read in {counted(values['count'], 'frame')} only"
            + (f" ({left_out_text(values['left_out'])})" if values["left_out"] else "")
        ),
        "Film with the whole dial in the picture and in focus, and check the marks",
    ),
    "film_needle_beyond": (
        "what moves over the dial stands beyond the ends of its scale in {count} of {total:n frame}: no needle does",
        "Check the marks, and film without a reflection or another hand that goes around the dial",
    ),
    "film_needle_unsteady": (
        "what looks like the needle jumps about by {spread:percent} of the scale from frame to frame",
        "Check the marks, and that the film plays without damage and nothing else moves over the face",
    ),
    "film_no_needle": (
        "nothing like a needle moves in the film",
        "Check that the marks are those of the speedometer and that the vehicle was driven at several speeds",
    ),
}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {}
"""Code to the sentence, with its full stop."""

LABELS: dict[str, str] = {
    "damaged": "damaged in the film",
    "other_size": "of another size",
    "dial_not_found": "dial not found",
    "other_angle": "seen from another angle than the marks",
    "no_needle": "no needle seen",
    "two_needles": "two needles seen",
    "covered": "needle covered",
    "off_scale": "needle off the scale or at rest",
    "between_marks": "where the scale between the marks is unclear",
    "jump": "a jump no needle makes",
}
"""Why a frame was left out."""


def frames_text(read: int, left_out: Mapping[str, int]) -> str:
    """Return how many frames were read and why others were not."""
    rest = f"; left out: {left_out_text(left_out)}" if left_out else ""
    return f"{counted(read, 'frame')} read{rest}"


def left_out_text(left_out: Mapping[str, int]) -> str:
    """Return why frames were not read, and how many."""
    return joined(f"{label(code)} {count}" for code, count in sorted(left_out.items()))
