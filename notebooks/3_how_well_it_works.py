# ---
# jupyter:
#   jupytext:
#     formats: ipynb,py:percent
#     text_representation:
#       extension: .py
#       format_name: percent
#   kernelspec:
#     display_name: Python 3
#     language: python
#     name: python3
# ---

# %% [markdown]
# # How the method works, and how well
#
# A claim such as "1.143, and 19 of 20 such ranges hold the truth" can be checked only where the truth is known. So:
# simulated drives, the plain way of doing it beside ours, and the limit that no method can beat (the Cramer-Rao
# bound). The full run, with every kind of drive, is in DEVELOPERS.md; this one is small enough to watch.

# %%
import matplotlib.pyplot as plt
import numpy as np

import speedcal
from speedcal.simulate import simulate

MPH = 0.44704  # meters per second, exact
DARK, WARM, COOL, GREY = "#1f2328", "#b5532a", "#1f3f73", "#9aa0a8"
plt.rcParams.update({"figure.figsize": (9, 4), "figure.dpi": 80, "axes.spines.top": False, "axes.spines.right": False})

# %% [markdown]
# ## One drive, and its clock
#
# The dial follows `indicated = offset + factor * true`, read at a moment that the watch gets wrong. For every shift
# of the watch the best line leaves some misfit. The right shift is the one where notes taken at steady speeds stop
# contradicting each other. The misfit counts large errors less than their square, so that a wrong note cannot steer
# it.

# %%
drive = simulate("noted", 11)
time, noted = drive.readings.time_s, drive.readings.speed_mps
shifts = np.arange(-90.0, 90.5, 0.5)


def misfit(shift: float) -> float:
    """Mean bounded misfit of the best line through the notes, with the watch shifted, 0 to 1."""
    ground = np.interp(time + shift, drive.track.time_s, drive.track.speed_mps)
    ratio = np.median(noted[ground > 5] / ground[ground > 5])
    return float(np.mean(1 - np.exp(-0.5 * ((noted - ratio * ground) / (1.5 * MPH)) ** 2)))


scores = np.array([misfit(shift) for shift in shifts])
found = speedcal.calibrate(drive.track, drive.readings)
figure, axes = plt.subplots(figsize=(9, 3.4))
axes.plot(shifts, scores, color=COOL)
axes.axvline(drive.truth.clock_offset_s, color=DARK, lw=1, ls="--")
axes.annotate("truth", (drive.truth.clock_offset_s, 0.97), (6, 0), textcoords="offset points", color=DARK)
axes.axvspan(found.clock_offset_s.low, found.clock_offset_s.high, color=WARM, alpha=0.35, lw=0)
axes.annotate(
    "found, 95 %", (found.clock_offset_s.low, 0.86), (-6, 0), textcoords="offset points", color=WARM, ha="right"
)
axes.set(
    xlabel="watch shifted by, s",
    ylabel="share of notes that do not fit",
    ylim=(0, 1.05),
    title="Where the clocks agree",
)
plt.show()
print(f"clock: truth {drive.truth.clock_offset_s:.1f} s, found {found.clock_offset_s} s")

# %% [markdown]
# ## Forty drives with wrong notes
#
# Each drive has about 22 notes in whole mph, misread by 0.6 mph, stamped to the second by a watch up to 25 s off; 12
# % of the notes are plain wrong (digits swapped, ten off). Beside our answer stands what one does without thinking:
# take the nearest fix for each note and fit a line.

# %%
KIND, DRIVES = "wrong readings", 40


def plain(track: speedcal.Track, readings: speedcal.Readings, shift_s: float = 0.0) -> float:
    """Nearest fix in time, and a straight line by least squares."""
    nearest = np.abs(readings.time_s[:, None] + shift_s - track.time_s).argmin(axis=1)
    return float(np.polyfit(track.speed_mps[nearest], readings.speed_mps, 1)[0])


truth, ours, low, high, simple, told, bound = (np.full(DRIVES, np.nan) for _ in range(7))
refused = 0
for seed in range(DRIVES):
    drive = simulate(KIND, seed)
    truth[seed] = drive.truth.error_factor
    try:
        result = speedcal.calibrate(drive.track, drive.readings)
    except speedcal.SpeedcalError:
        refused += 1
        continue
    ours[seed], low[seed], high[seed] = result.error_factor.value, result.error_factor.low, result.error_factor.high
    simple[seed] = plain(drive.track, drive.readings)
    told[seed] = plain(drive.track, drive.readings, drive.truth.clock_offset_s)
    v = drive.truth.reading_ground_mps[~drive.truth.wrong]
    spread = np.sum((v - v.mean()) ** 2)
    bound[seed] = np.sqrt((0.6 * MPH) ** 2 + MPH**2 / 12) / np.sqrt(spread)
answered = np.isfinite(ours)
inside = (low <= truth) & (truth <= high)
print(
    f"{answered.sum()} of {DRIVES} drives answered, {refused} refused;",
    f"the range holds the truth in {inside[answered].mean():.0%} of them",
)

# %%
order = np.argsort(np.where(answered, ours - truth, np.inf))[: answered.sum()]
figure, axes = plt.subplots(figsize=(9, 4.2))
place = np.arange(len(order))
error = 100 * (ours - truth)[order]
colour = np.where(inside[order], COOL, WARM)
axes.vlines(place, 100 * (low - truth)[order], 100 * (high - truth)[order], color=colour, lw=2)
axes.plot(place, error, "o", color=DARK, ms=3)
axes.axhline(0, color=DARK, lw=1)
axes.set(
    xlabel="drives, in order of their error",
    ylabel="error factor minus truth, %",
    title="Ranges that hold the truth (blue) and that do not (orange)",
)
plt.show()

# %% [markdown]
# ## Against the limit
#
# With the noise known, no unbiased estimate of the factor with a free offset can scatter less than $\sigma /
# \sqrt{\sum (v - \bar v)^2}$, where $\sigma$ holds misreading and rounding and the sum runs over the notes that are
# right. A stated prior for the needle (pointers sit within a mph or two) may beat that a little; the clocks, which
# have to be found as well, cost a little. The plain way has two lines: as it stands, and for somebody who was told how
# far off the watch is.

# %%
sizes = {
    "nearest fix, straight line": np.abs(simple - truth)[answered] * 100,
    "the same, told the right clock": np.abs(told - truth)[answered] * 100,
    "speedcal": np.abs(ours - truth)[answered] * 100,
}
limit = 100 * np.sqrt(np.mean(bound[answered] ** 2))
figure, axes = plt.subplots(figsize=(9, 3.8))
for (name, size), colour, style in zip(sizes.items(), (WARM, DARK, COOL), ("--", ":", "-"), strict=True):
    rms = np.sqrt(np.mean(size**2))
    axes.plot(
        np.sort(size), np.linspace(0, 100, len(size)), style, color=colour, lw=2, label=f"{name}: rms {rms:.2f} %"
    )
ideal = np.sort(np.abs(np.random.default_rng(0).normal(0, limit, 4000)))
axes.plot(ideal, np.linspace(0, 100, len(ideal)), color=GREY, lw=1.5, label=f"the limit: rms {limit:.2f} %")
axes.set(
    xscale="log",
    xlim=(0.03, 60),
    xlabel="size of the error of the factor, %",
    ylabel="drives with a smaller error, %",
    title="How far off",
)
axes.xaxis.set_major_formatter("{x:g}")
axes.legend(frameon=False, loc="upper left")
plt.show()

# %% [markdown]
# ## Decide at a speed, not by the factor
#
# Factor and offset lean on each other: when one comes out high the other comes out low. At a speed that was driven
# the two errors cancel, and what the dial shows there is known several times better than the factor alone. That is
# why corrections and verdicts are judged at speeds.

# %%
drive = simulate("noted", 2)
result = speedcal.calibrate(drive.track, drive.readings)
speeds = np.linspace(5, 85, 120)
half = result.coverage_factor * result.u_indicated(speeds * MPH) / MPH
driven = [v / MPH for v in result.speed_range_mps]
figure, axes = plt.subplots(figsize=(9, 3.6))
axes.plot(speeds, 100 * half / speeds, color=COOL, lw=2, label="what the dial shows at this speed")
axes.axhline(100 * result.error_factor.half_width, color=WARM, ls="--", label="the factor alone")
axes.axvspan(*driven, color=GREY, alpha=0.15, lw=0)
axes.annotate("driven", (np.mean(driven), 5.2), ha="center", color=DARK)
axes.set(
    xlabel="true speed, mph",
    ylabel="half width of the 95 % range, %",
    ylim=(0, 6),
    title="Known best where it was driven",
)
axes.legend(frameon=False, loc="upper right")
plt.show()
