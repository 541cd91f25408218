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
# # A bent dial, and what to do about it
#
# A gear change multiplies the reading by one number. A tired spring does something else: the dial may be right in town
# and 5 mph high on the highway. Then no gear is right, and fitting one only moves the error to other speeds. This
# notebook makes such a drive (simulated, so that the truth is known), shows how the bend is seen, what each gear would
# leave, and what the advice is instead. Everything is invented.

# %%
from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np

import speedcal
from speedcal.simulate import Plateau, simulate

MPH = 0.44704  # meters per second, exact
DARK, WARM, COOL, BAND = "#1f2328", "#b5532a", "#1f3f73", "#dfe8c4"
plt.rcParams.update({"figure.figsize": (9, 4), "figure.dpi": 80, "axes.spines.top": False, "axes.spines.right": False})


def bend(mph: np.ndarray) -> np.ndarray:
    """Return how much too much the dial shows: nothing up to 40 mph, then more and more."""
    return 0.0055 * np.maximum(mph - 40, 0) ** 2


# %% [markdown]
# ## The drive
#
# A camera reads the dial once a second to the whole km/h while ten speeds are held for a minute each. The gears are
# right; the dial is not.

# %%
plan = [Plateau(mph * MPH, 60, 5) for mph in (20, 30, 40, 50, 60, 70, 65, 55, 45, 35)]
drive = simulate("logged", 7, plan=plan, error_factor=1.0, offset_mps=0.0)
true = drive.truth.reading_ground_mps / MPH
shown = np.round((drive.readings.speed_mps + bend(true) * MPH) * 3.6) / 3.6
readings = replace(drive.readings, speed_mps=shown)
found = speedcal.calibrate(drive.track, readings, unit="mph")
print(found)

# %%
v = np.linspace(*(limit / MPH for limit in found.dial.driven_mps), 80)
error, half = found.dial.indicated(v * MPH) / MPH - v, found.dial.half_width(v * MPH) / MPH
table = found.readings[found.readings["used"]]
ground = table["ground_mps"] / MPH
straight = np.polyfit(ground, table["indicated_mps"] / MPH, 1)
figure, axes = plt.subplots()
axes.fill_between(v, error - half, error + half, color=BAND, label="what was found, 95 %")
axes.plot(v, error, color=COOL, lw=2.2)
axes.plot(v, bend(v), color=DARK, lw=1, ls="--", label="the truth")
axes.plot(v, np.polyval(straight, v) - v, color=WARM, lw=1.2, label="a straight line through the readings")
axes.plot(ground, table["indicated_mps"] / MPH - ground, ".", color=COOL, ms=3, alpha=0.4, label="readings")
axes.axhline(0, color=DARK, lw=0.6)
axes.set(
    xlabel="true speed, mph", ylabel="the dial shows too much by, mph", title="The bend is seen, not averaged away"
)
axes.legend(frameon=False, loc="upper left")
plt.show()

# %% [markdown]
# The straight line calls the dial low in town and too little high at the top. The curve with its range follows the
# truth, and the range says where it is known less well: at the ends of what was driven.
#
# ## What a gear would do
#
# Whatever changes the drive by a factor stretches this curve; it cannot straighten it.

# %%
vehicle = speedcal.Vehicle.from_dict({"tire": "P225/70R16", "axle": "41/11", "drive_gear": 8, "driven_gear": 20})
figure, axes = plt.subplots()
for teeth, colour, style in ((20, DARK, "-"), (21, COOL, "--"), (22, WARM, "-.")):
    left = found.dial.indicated(v * MPH * 20 / teeth) / MPH - v
    axes.plot(v, left, color=colour, ls=style, lw=1.8)
    axes.annotate(f"{teeth} teeth", (v[-1], left[-1]), (4, -3), textcoords="offset points", color=colour)
axes.axhline(0, color=DARK, lw=0.6)
axes.set(xlabel="true speed, mph", ylabel="error left, mph", title="Every gear leaves the bend", xlim=(v[0], v[-1] + 6))
plt.show()

# %% [markdown]
# ## What is advised instead
#
# A bent dial needs a repair. Until then a card on the dash tells the true speed.

# %%
advice = speedcal.correct(found, vehicle, speeds=(30, 45, 60, 70), unit="mph").advice
for number, step in enumerate(advice, start=1):
    print(f"{number}. {step}")

# %% [markdown]
# The card goes by the curve, so it is right where a rule of thumb ("it shows seven per cent too much") is not.

# %%
print("true mph   dial shows")
for mph in (25, 35, 45, 55, 65):
    print(f"{mph:8d}   {float(found.dial.indicated(mph * MPH)) / MPH:10.0f}")
