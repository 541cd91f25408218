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
# # The owner's drive: from two files to the answer
#
# The axle gears of a pickup were changed and the dial reads high since. One evening the owner drives for a quarter of
# an hour with a phone that records the track, and a passenger who writes down the time and what the dial shows.
# (Workshop, vehicle and road are invented; the truth behind the drive stands in `data_demo/truth.toml` and is looked
# at only at the end.)
#
# The driver drives, the passenger writes.

# %%
import tomllib
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

import speedcal

MPH = 0.44704  # meters per second, exact
DARK, WARM, COOL, GREY = "#1f2328", "#b5532a", "#1f3f73", "#8a8f98"
plt.rcParams.update({"figure.figsize": (9, 4), "figure.dpi": 80, "axes.spines.top": False, "axes.spines.right": False})
demo = Path("../data_demo")

# %% [markdown]
# ## What was brought
#
# A track from the phone, and a table as a passenger types it: a watch without date and zone, whole miles an hour.

# %%
track = speedcal.read_track(demo / "before.gpx")
readings = speedcal.read_readings(demo / "before_notes.csv")
print(track)
print(readings)
print(*(demo / "before_notes.csv").read_text().splitlines()[:6], sep="\n")

# %% [markdown]
# ## Two clocks
#
# The watch shows local time and is a few seconds off; nobody wrote down by how much. Laid side by side as they stand
# (the hours taken off, both beginning at zero), notes and track do not match.

# %%
minutes = (track.time_s - track.time_s[0]) / 60
noted_minutes = (readings.time_s - readings.time_s[0]) / 60
figure, axes = plt.subplots()
axes.plot(minutes, track.speed_mps / MPH, color=COOL, lw=1.2, label="GPS speed")
axes.plot(
    noted_minutes,
    readings.speed_mps / MPH,
    "o",
    mfc="white",
    color=WARM,
    label="what the dial showed, clocks as they stand",
)
axes.set(
    xlabel="minutes from the first fix, and from the first note",
    ylabel="mph",
    ylim=(0, 95),
    title="Before the clocks are matched",
)
axes.legend(frameon=False, loc="upper left", ncols=2)
plt.show()

# %% [markdown]
# ## The answer
#
# One call searches every clock that could be meant, zones and days included, finds notes that cannot be right, and
# estimates what the dial does together with how well that is known.

# %%
before = speedcal.calibrate(track, readings)
print(before)

# %% [markdown]
# The same picture with the clocks matched. The dial runs above the GPS speed everywhere, and one note stands out: 65
# where its neighbors say 55 or 56 - its digits were swapped when it was written down.

# %%
table = before.readings
at = (table["time_s"] - track.time_s[0]) / 60
used = table["used"]
figure, axes = plt.subplots()
axes.plot(minutes, track.speed_mps / MPH, color=COOL, lw=1.2, label="GPS speed")
axes.plot(at[used], table["indicated_mps"][used] / MPH, "o", mfc="white", color=WARM, label="dial, used")
axes.plot(at[~used], table["indicated_mps"][~used] / MPH, "x", ms=9, mew=2, color=DARK, label="dial, left out")
axes.set(xlabel="minutes from the first fix", ylabel="mph", ylim=(0, 95), title="After the clocks are matched")
axes.legend(frameon=False, loc="upper left", ncols=3)
plt.show()

# %% [markdown]
# ## How wrong at which speed
#
# The error grows with speed: that part is the gears' doing (the *error factor*). The rest is there at every speed: it
# belongs to the needle (the *offset*). The band holds the truth in 19 of 20 such drives.

# %%
low, high = (speed / MPH for speed in before.speed_range_mps)
speeds = np.linspace(low, high, 60)
shown = before.indicated(speeds * MPH) / MPH
half = before.coverage_factor * before.u_indicated(speeds * MPH) / MPH
figure, axes = plt.subplots()
axes.fill_between(speeds, shown - half - speeds, shown + half - speeds, color=WARM, alpha=0.2, lw=0, label="95 %")
axes.plot(speeds, shown - speeds, color=WARM, lw=2)
ground = table["ground_mps"][used] / MPH
axes.plot(ground, table["indicated_mps"][used] / MPH - ground, "o", mfc="white", color=WARM, label="readings")
axes.axhline(0, color=DARK, lw=1)
axes.set(xlabel="true speed, mph", ylabel="the dial shows too much by, mph", ylim=(-1, 13), title="Error of the dial")
axes.legend(frameon=False, loc="upper left")
plt.show()

# %% [markdown]
# ## What to order
#
# With the teeth that are fitted now the answer is a part. No whole tooth is exact, so each neighbor is judged by the
# errors it would leave, and here by never reading low.

# %%
vehicle = speedcal.Vehicle.from_dict(
    {
        "label": "invented pickup",
        "tire": "P225/70R16",
        "axle": "41/11",
        "drive_gear": 8,
        "driven_gear": 19,
        "turns_per_mile": 1000,
        "criterion": "never reads low",
    }
)
print(speedcal.correct(before, vehicle))

# %% [markdown]
# ## And the truth?
#
# The drive was made by a script that knows it. It lies inside what was said.

# %%
truth = tomllib.loads((demo / "truth.toml").read_text("utf-8"))
factor = truth["error_factor_before"]
print(f"error factor in truth {factor:.3f}, found {before.error_factor}")
print("inside the range:", before.error_factor.contains(factor), "- best gear in truth:", truth["best_driven_gear"])
