"""What the command prints of corrections: what to do, the choices, what is wrong, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence

from speedcal.finding import Finding
from speedcal.text.results import advice
from speedcal.text.results.explanations import diagnosis_lines
from speedcal.text.results.vehicle_summary import effective_text
from speedcal.text.words.numbers import likely, signed
from speedcal.text.words.parts import choice_name, part_name
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.choices.choice import Choice
from speedcal.vehicle.corrections import Corrections
from speedcal.vehicle.forward import Forecast

_WORTH_SAYING = 0.005
"""Chance of reading low from which it is said."""
_HARDLY_PERCENT = 0.5
"""A dial that reads low by less is not called one that reads low."""
_FEWEST_ROWS, _MOST_ROWS = 2, 5
_ABOUT_THE_BEST = {"margin_too_wide", "margin_kept", "no_acceptable_choice", "not_decided", "instrument_limits"}
"""Findings on the choice that by itself is the best; the advice weighs the work too and may name another."""
_NOT_OF_THE_DRIVE = {"keep_as_is", "reseat_needle", "repair_instrument", "check_files", "set_unit"}
"""What comes first where nothing between road and instrument is to be changed, or not yet."""
_AFTER_THE_WORK = "what the drive before the work called for; what is left to do is told by the drive after it:"


def summary(result: object) -> str:
    """Return the few lines of a result of this room."""
    if isinstance(result, Choice):
        return choice_name(result.what)
    if isinstance(result, Forecast):
        return _forecast(result)
    assert isinstance(result, Corrections)  # noqa: S101 - phrases sends nothing else
    return _corrections(result)


def low_text(choice: Choice) -> str:
    """Return whether it reads low at one of the speeds, and by how much; empty when it hardly can."""
    if choice.reads_low:
        low, worst = (f"{percent:.1f}" for percent in (-choice.lowest_error_percent, choice.worst_error_percent))
        by = "" if low == worst else f" by up to {low} %"  # else the same figure stands beside it
        return f"reads low{by}" if -choice.lowest_error_percent >= _HARDLY_PERCENT else ""
    if choice.probability_reads_low < _WORTH_SAYING:
        return ""
    return f"may read low ({likely(choice.probability_reads_low)})"


def low_word(*, reads_low: bool, lowest_percent: float, probability: float) -> str:
    """Return the same in a word, for a narrow table."""
    if reads_low:
        return "yes" if -lowest_percent >= _HARDLY_PERCENT else "hardly"
    return "no" if probability < _WORTH_SAYING else f"may, {likely(probability)}"


def best_text(probability: float) -> str:
    """Return how likely a choice is to be the best of all."""
    if probability > 0.95:
        return "almost certainly the best"
    return f"{likely(probability)} likely to be the best"


def _corrections(found: Corrections) -> str:
    lines = [_AFTER_THE_WORK if found.is_driven_since else "what to do:"]
    lines += [f"  {i}. {advice.summary(entry)}" for i, entry in enumerate(found.advice, 1)]
    if found.diagnosis is not None:
        lines += diagnosis_lines(found.diagnosis)
    is_done = found.is_driven_since or any(entry.part == "road_test" for entry in found.advice)
    lines.append(f"{'before the work' if is_done else 'as it is'}: worst error {found.keep.worst_error_percent:.1f} %")
    has_more = found.effective_tire or found.ideal_driven_teeth or any(found.lists().values())
    lines += ["once that is right:"] if has_more and _comes_first(found) else []
    lines += [effective_text(found.effective_tire, found.unit)] if found.effective_tire else []
    if found.ideal_driven_teeth:
        advised = next((e.value for e in found.advice if e.action == "fit_driven_gear" and _is_first(e)), None)
        nearest = next((c for c in found.driven_gear if c.available is not False), None)
        so = f", so fit {advised}" if nearest and dict(nearest.parts)["teeth"] == advised else ""
        lines.append(f"exact tooth count: {found.ideal_driven_teeth.to_decimals(2)}{so}")
    listed = [choice for choices in found.lists().values() for choice in _worth_listing(found, choices)]
    width = max((len(choice_name(choice.what)) for choice in listed), default=0)
    fitting = advised_among(found, listed)
    best = max(listed, key=lambda choice: choice.probability_best or 0.0, default=None)
    # by the rule, the work or the needle it may be another, and none is called the best beside it
    lines += [_row(choice, width, is_ranked=fitting in (None, best)) for choice in listed]
    lines += [f"as it is, in the {name}: {shown}" for name, shown in other_ranges(found)]
    lines.append(f"judged by: {found.criterion}, at {', '.join(f'{v:.4g}' for v in found.speeds)} {found.unit}")
    lines += [f"note: {text} ({source})" for text, source in found.notes]
    return "\n".join([*lines, *(f"note: {advice.sentence(finding)}" for finding in unsaid(found))])


def _worth_listing(found: Corrections, choices: Sequence[Choice]) -> list[Choice]:
    fitted, advised = [choice.is_fitted for choice in choices], advised_among(found, choices)
    return [choices[i] for i in worth_a_row(fitted, [choice is advised for choice in choices], _MOST_ROWS)]


def worth_a_row(fitted: Sequence[bool], advised: Sequence[bool], most: int) -> list[int]:
    """Return which choices of a kind, the best first, to list: the best, down to the fitted one; that and the advised.

    What is worse than the one that is fitted is no choice.
    """
    last = next((i for i, is_fitted in enumerate(fitted, 1) if is_fitted), len(fitted))
    best = min(max(last, _FEWEST_ROWS), most)
    return [i for i in range(len(fitted)) if i < best or fitted[i] or advised[i]]


def _is_first(entry: Advice) -> bool:
    return "instead_of_the_first" not in entry.codes


def _comes_first(found: Corrections) -> bool:
    """Tell whether a unit or a pulse count must be right before any choice."""
    return bool(found.advice) and found.advice[0].rights_what_is_told


def other_ranges(found: Corrections) -> list[tuple[str, str]]:
    """Return each other range of axle or transfer case, and what the dial shows in it at the lowest of the speeds."""
    return [
        (
            f"other range of the {part_name(other.part)}",
            f"at a true {row['ground']:g} {found.unit} it shows {row['indicated']:.1f} ({signed(row['percent'])} %)",
        )
        for other in found.other_ranges
        for row in other.errors[:1]
    ]


def unsaid(found: Corrections) -> list[Finding]:
    """Return the findings that the advice leaves open; a needle to reseat says what a gear alone leaves."""
    said = {code for entry in found.advice for code in entry.codes}
    if any(entry.action == "reseat_needle" for entry in found.advice):  # and what a gear leaves without it
        said |= _ABOUT_THE_BEST
    if found.advice and (found.advice[0].action in _NOT_OF_THE_DRIVE or found.advice[0].part == "road_test"):
        said |= {*_ABOUT_THE_BEST, "nothing_to_change", "acceptable_as_is", "inseparable"}
    if "margin_to_the_rule" in said:  # then a count is not chosen for being the nearest
        said.add("not_decided")
    if not _best_is_advised(found):
        said |= _ABOUT_THE_BEST
    return [finding for finding in found.findings if finding.code not in said]


def _best_is_advised(found: Corrections) -> bool:
    """Tell whether the advice names the choice that the findings speak of, if any."""
    return found.best is None or _fitting(found) is None or advised_among(found, [found.best]) is not None


def advised_among(found: Corrections, choices: Sequence[Choice]) -> Choice | None:
    """Return which of some choices the advice names; it weighs a rule and the work, and may not name the nearest."""
    entry = _fitting(found)
    for choice in choices:
        names = [str(value) for _, value in choice.parts]
        part = "gears" if choice.kind == "pair" else choice.kind
        if entry and entry.part in (part, *names) and str(entry.value) in (*names, "/".join(names)):
            return choice
    return None


def _fitting(found: Corrections) -> Advice | None:
    """Return the first advice that has a part fitted or set."""
    return next((e for e in found.advice if e.action.startswith(("fit_", "set_")) and e.action != "set_unit"), None)


def _row(choice: Choice, width: int, *, is_ranked: bool) -> str:
    words = [f"  {choice_name(choice.what):<{width}}  worst {choice.worst_error_percent:4.1f} %"]
    if is_ranked and choice.probability_best is not None and choice.probability_best > 0.005:
        words.append(best_text(choice.probability_best))
    words += [low_text(choice)] if low_text(choice) else []
    words += ["not in the gear family"] if choice.available is False else []
    words += [f"housing: range {choice.orientation} down"] if choice.orientation else []
    words += ["fitted now"] if choice.is_fitted else []
    return ", ".join(words)


def _forecast(found: Forecast) -> str:
    now = "what the drive shows" if found.is_measured else "an instrument that is right now"
    unit, percent = found.corrections.unit, 100 * (found.gain.value - 1)
    lines = [f"planned: {found.work}, starting from {now}"]
    lines.append(
        f"it will read {abs(percent):.1f} % {'less' if percent < 0 else 'more'} than now "
        f"({signed(100 * (found.gain.low - 1))} to {signed(100 * (found.gain.high - 1))} %)"
    )
    lines += [
        f"  at a true {row['ground']:g} {unit} it will show {row['indicated']:.1f} "
        f"({row['ground'] + row['low']:.1f} to {row['ground'] + row['high']:.1f})"
        for row in found.corrections.keep.errors
    ]
    return "\n".join([*lines, _corrections(found.corrections)])
