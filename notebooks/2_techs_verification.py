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
# # The tech's verification: from plan to verdict
#
# The driven gear was changed from 19 to 22 teeth. Before the customer comes the shop wants to know: is it right now,
# and can we say so? This notebook plans the road test, drives it (simulated, so that the truth is known), judges it
# against a rule, and shows what happens when the drive is too short or the wrong gear was fitted. Everything is
# invented.

# %%
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

import speedcal
from speedcal.simulate import Plateau, simulate

MPH = 0.44704  # meters per second, exact
DARK, WARM, COOL, BAND = "#1f2328", "#b5532a", "#1f3f73", "#dfe8c4"
plt.rcParams.update({"figure.figsize": (9, 4), "figure.dpi": 80, "axes.spines.top": False, "axes.spines.right": False})
demo = Path("../data_demo")

job = speedcal.load_job(demo)
before = speedcal.calibrate(speedcal.read_track(demo / "before.gpx"), speedcal.read_readings(demo / "before_notes.csv"))
print(job.vehicle)
print("at a true 60 mph it showed", f"{float(before.indicated(60 * MPH)) / MPH:.1f} mph")

# %% [markdown]
# ## Plan it
#
# The rule is that of UN Regulation No. 39: never low, and at most 10 % and 4 km/h high. Which speeds, how long, how
# often, so that the verdict is clear in nine drives of ten?

# %%
plan = speedcal.plan(
    job.vehicle, speed_limit=65, unit="mph", tolerance=job.tolerance, calibration=before, work=job.work
)
print(plan)

# %%
figure, axes = plt.subplots(figsize=(9, 3.2))
start = 0.0
for number, hold in enumerate(plan.plateaus, start=1):
    end = start + hold.hold_s
    axes.plot([start, end], [hold.mark_mps / MPH] * 2, color=COOL, lw=5, solid_capstyle="butt")
    notes = np.linspace(start, end, hold.readings + 2)[1:-1]
    axes.plot(notes, np.full(hold.readings, hold.mark_mps / MPH) + 3, "|", color=WARM, ms=9, mew=2)
    axes.annotate(
        str(number),
        ((start + end) / 2, hold.mark_mps / MPH),
        (0, -16),
        textcoords="offset points",
        ha="center",
        color=DARK,
    )
    start = end + 20
axes.set(
    xlabel="seconds, with 20 s from one hold to the next",
    ylabel="hold the dial at, mph",
    ylim=(10, 78),
    title="The road test: holds in order, a stroke for each note",
)
plt.show()

# %% [markdown]
# ## Drive it
#
# The simulated truck has the gain that 22 teeth give, and a needle that sits 1.2 mph high. The passenger's watch is
# off, the notes are whole miles an hour with a misreading of 0.6 mph.

# %%
CIRCUMFERENCE_M, MILE_M = 2.1912, 1609.344


def gain(driven_gear: int) -> float:
    """Return the turns the instrument gets for a mile, over those it expects."""
    return 41 / 11 * 8 / driven_gear * (MILE_M / CIRCUMFERENCE_M) / 1000


def road_test(driven_gear: int, seed: int) -> speedcal.Calibration:
    """Drive the plan and measure it."""
    holds = [Plateau(hold.true_mps, hold.hold_s, hold.readings) for hold in plan.plateaus]
    drive = simulate("noted", seed, error_factor=gain(driven_gear), offset_mps=1.2 * MPH, plan=holds)
    return speedcal.calibrate(drive.track, drive.readings)


after = road_test(22, seed=8)
print(after)

# %% [markdown]
# ## Judge it
#
# The verdict is a statement with a probability, at every speed asked for and over the driven range; and the change is
# held against the planned one.

# %%
verdict = speedcal.verify(before, after, job.tolerance, vehicle=job.vehicle, work=job.work)
print(verdict)

# %%
figure, axes = plt.subplots(figsize=(9, 4.6))
true = np.linspace(20, 68, 80)
limits = np.array([job.tolerance.band(v * MPH) for v in true]) / MPH
axes.fill_between(true, limits[:, 0] - true, limits[:, 1] - true, color=BAND, lw=0, label="allowed")
for name, drive, colour, style in (("before", before, WARM, "--"), ("after", after, COOL, "-")):
    span = np.linspace(*(v / MPH for v in drive.speed_range_mps), 60)
    shown = drive.indicated(span * MPH) / MPH - span
    half = drive.coverage_factor * drive.u_indicated(span * MPH) / MPH
    axes.fill_between(span, shown - half, shown + half, color=colour, alpha=0.25, lw=0)
    axes.plot(span, shown, style, color=colour, lw=2, label=name)
for check in verdict.checks:
    shown = (check.indicated - check.speed_mps) / MPH
    axes.annotate(
        "over 99.9 %" if check.probability > 0.999 else f"{check.probability:.1%}",
        (check.speed_mps / MPH, shown),
        (0, 14),
        textcoords="offset points",
        ha="center",
        color=COOL,
    )
axes.axhline(0, color=DARK, lw=1)
axes.set(
    xlabel="true speed, mph",
    ylabel="the dial shows too much by, mph",
    ylim=(-2, 13),
    title=f"{verdict.verdict.upper()}: chance that the rule is kept, at each speed",
)
axes.legend(frameon=False, loc="upper left", ncols=3)
plt.show()

# %% [markdown]
# ## When the drive is too short
#
# Six notes at three speeds on the same truck prove nothing. The verdict says so, and how many more would settle it;
# it does not call the truck bad. Some drives as short as this one are refused outright: their notes fit the track
# hardly better than that of another drive would.

# %%
short = [Plateau(v * MPH, 25, 2) for v in (34, 46, 58)]
drive = simulate("noted", 7, error_factor=gain(22), offset_mps=1.2 * MPH, plan=short)
little = speedcal.calibrate(drive.track, drive.readings)
print(little.trust)
print(speedcal.verify(before, little, job.tolerance, vehicle=job.vehicle, work=job.work))

# %% [markdown]
# ## When another gear went in
#
# The same road test with 20 teeth in the housing instead of 22. The rule is generous upwards and happens to be kept;
# yet the change is not the planned one, and that is what a shop wants to know before the customer does. The likely
# causes are listed in the order in which one looks.

# %%
wrong = road_test(20, seed=9)
print(speedcal.verify(before, wrong, job.tolerance, vehicle=job.vehicle, work=job.work))
