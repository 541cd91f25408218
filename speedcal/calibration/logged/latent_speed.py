"""A dense log and its track at once: the true speed as a latent curve of time, seen through two instruments.

The track shows the speed, the log what the dial made of it, each rounded in its own way and by its own clock. What
one of the two smooths away the other still shows, so the delay of the slower one is found with the clock: its
*damping* is half the square of a time constant, positive for the needle and negative for the receiver, and the
likelihood is smooth in it at zero. A display that falls later than it rises shows more whenever the speed changes,
either way: its *uneven lag*. All of it is fitted by Gauss and Newton's method on the marginal likelihood
(Fisher's identity: its gradient is the expected gradient of the full one).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.dial import rounded_likelihood
from speedcal.calibration.dial.curve import driven_points
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.dial_mixture import PointerPlay
from speedcal.calibration.logged.alike import telling_dial_alike, telling_speed_alike
from speedcal.calibration.logged.channel_noise import ChannelState
from speedcal.calibration.logged.latent_model import (
    CLOCK,
    DAMPING,
    DRIFT,
    NUISANCES,
    PLAY,
    UNEVEN,
    Channel,
    Fit,
    Start,
    prior_of_unknowns,
)
from speedcal.calibration.logged.latent_step import LastStep, Pace, newton_step
from speedcal.calibration.logged.latent_views import View, WeightTable
from speedcal.calibration.speed.banded import Banded
from speedcal.calibration.speed.motion import Motion, local_sum
from speedcal.calibration.speed.speed_spline import SplineGrid
from speedcal.calibration.tuning import logs as tuned
from speedcal.interval import FloatArray, median

_SETTLING_ROUNDS = 2
_BLEND = 0.7
_EASED = 0.85
"""Share of a step of clock, damping and play that is taken: messages follow these a round later, and whole steps swing
to and fro where noise nearly hides one. At 1 two of 16 films of a needle that beats do not settle."""
_SETTLED = np.array([4e-3, 2e-2, 2e-5, 4e-3, 2e-3])
_SETTLED_MPS = 5e-3
_AT_REST, _NEARLY_AT_REST, _AT_LARGE, _AT_LARGE_ROUNDS = 0.15, 0.5, 5.0, 12
"""What is taken as none is judged when steps are settled, or the sooner the plainer it is. The rounds end at a step of
the first size for the dial, since the noise of a log under cruise control is found slowly, and of the second for the
rest; or when steps have been of the third for so many rounds with the same unknowns, as in logs of the car behind."""
_LOOSE = 1e-6
_SMOOTH_S = 3.0
_HELD = 1e12
"""Information of a damping, or an uneven lag, that is taken as none."""


def _knots(speed: FloatArray) -> FloatArray:
    low, high = np.quantile(speed, [0.01, 0.99])
    low, high = min(low, high - tuned.LATENT_KNOT_SPACING_MPS / 2), max(high, low + tuned.LATENT_KNOT_SPACING_MPS / 2)
    return np.linspace(low, high, max(2, int((high - low) / tuned.LATENT_KNOT_SPACING_MPS) + 1))


def _since_before(values: FloatArray) -> FloatArray:
    """Return what each of n values adds to the one before, nothing the first."""
    since = np.zeros(len(values))
    np.subtract(values[1:], values[:-1], out=since[1:])
    return since


def fit_latent(track: Channel, log: Channel, *, grid: SplineGrid, start: Start) -> Fit:
    """Fit clock, damping, drift and dial to a track with recorded speed and a log.

    Parameters
    ----------
    track, log
        Recorded speeds, and readings taken where the dial shows speed.
    """
    return _Fitter(track, log, grid, start).run()


class _Fitter:
    """The rounds of the fit."""

    def __init__(self, track: Channel, log: Channel, grid: SplineGrid, start: Start) -> None:
        self.track, self.log, self.grid = track, log, grid
        self.nuisance = np.array([start.clock_offset_s, start.damping_s2, 0.0, 0.0, 0.0])
        self.none = [UNEVEN, PLAY] if start.damping_s2 else [DAMPING, UNEVEN, PLAY]  # until the log says otherwise
        # beside rows far apart the score of a damping is that of the track alone, which is smoothed by what is believed
        self.seldom = median(np.diff(log.time_s)) > tuned.DAMPED_ROWS_S
        self.clock_s, self.known = start.clock_s, start.clock_piece >= 0
        self.seconds = grid.locate(start.clock_s, np.maximum(start.clock_piece, 0))
        self.count = np.maximum(local_sum(self.known.astype(float), tuned.POINTER_REACH_S), 1.0)
        self.middle_s = float(np.mean(log.time_s))
        knots = _knots(start.speed_mps)
        self.dial = Dial(knots, start.offset_mps + start.gain * knots, np.zeros((len(knots),) * 2), knots)
        self.table = WeightTable(self.dial, 1.2 * float(knots[-1]) + 10.0)
        self.pace = Pace(np.zeros(len(knots)))
        self.prior = prior_of_unknowns(knots, driven_points(start.speed_mps))
        shaky = max(start.scatter_mps**2 - log.step_mps**2 / 12, 0.1**2)
        self.states = {
            name: ChannelState.of(count, variance)
            for name, count, variance in (
                ("track", len(track.time_s), start.track_noise_mps**2),
                ("log", len(log.time_s), shaky),
            )
        }
        self.track_late_s, self.track_places = 0.0, grid.locate(track.time_s, track.piece)
        self.coefficients, self.inverse = self._smoothed()
        self.motion = Motion(grid, self.coefficients, start.runs)

    def _smoothed(self) -> tuple[FloatArray, FloatArray]:
        """Return coefficients of the track's own speed, a little smoothed, and the band of their covariance."""
        band = self.grid.stiffness(np.full(len(self.grid), 0.2**-2))
        band[0] += _LOOSE
        places = self.track_places
        weight = 1 / (self.states["track"].noise.variance + self.track.step_mps**2 / 12)
        places.add_information(band, places.value, weight)
        factor = Banded(band)
        pull = places.add_up(places.value, weight * self.track.value_mps, len(self.grid))
        return factor.solve(pull), factor.inverse()

    def run(self) -> Fit:
        large = 0
        for turn in range(tuned.LATENT_ROUNDS):
            with_log = turn >= _SETTLING_ROUNDS
            done = self._round(with_log=with_log)
            if with_log:
                large = large + 1 if self.last.moving > _AT_LARGE and tuple(self.none) == self.last.none else 0
                if done or large >= _AT_LARGE_ROUNDS:
                    break
        return self._fit(self.last)

    def _round(self, *, with_log: bool) -> bool:
        grid = self.grid
        views = {"track": self._track_view()}
        if with_log:
            views["log"] = self._log_view()
        for name, view in views.items():
            self._listen(name, view)
        band = self.motion.band()
        right_side = np.zeros(len(grid))
        for name, view in views.items():
            message = self.states[name].message
            view.places.add_information(band, view.row, message.precision)
            right_side += view.places.add_up(view.row, message.shift - message.precision * view.constant, len(grid))
        factor = Banded(band)
        self.coefficients, self.inverse = factor.solve(right_side), factor.inverse()
        self.motion.renew(self.coefficients, self.inverse)
        return with_log and self._improve(views, factor)

    def _track_view(self) -> View:
        track, damping = self.track, self.nuisance[DAMPING]
        constant = np.sqrt(2 * max(damping, 0.0))
        if constant != self.track_late_s:
            self.track_late_s, self.track_places = constant, self.grid.locate(track.time_s - constant, track.piece)
        places = self.track_places
        row = places.value + constant * places.rate
        return View(places, row, np.zeros(len(track.time_s)), np.ones(len(track.time_s)))

    def _log_view(self) -> View:
        log = self.log
        clock, damping, drift, uneven, play = self.nuisance
        constant = np.sqrt(2 * max(-damping, 0.0))
        moment = log.time_s + clock + drift * (log.time_s - self.middle_s) - constant
        places = self.grid.locate(moment, log.piece)
        row = places.value + constant * places.rate
        speed = places.of(self.coefficients, row)
        at = self.table.place(speed)
        shown, gain = self.table.shown(at, self.dial.shown_mps)
        rate = places.of(self.coefficients, places.rate)
        later = gain * (np.hypot(rate, tuned.UNEVEN_STEADY_MPS2) - tuned.UNEVEN_STEADY_MPS2)
        hangs = self._pointer().at(moment)
        shown += uneven * later + play * hangs
        return View(places, gain * row, shown - gain * speed, gain, at, row, later, hangs)

    def _pointer(self) -> PointerPlay:
        """Return where a pointer hangs behind the speed as it is known now, averaged not to follow noise."""
        speed = self.seconds.of(self.coefficients, self.seconds.value) * self.known
        speed = local_sum(speed, tuned.POINTER_REACH_S) / self.count
        gain = np.ptp(self.dial.shown_mps) / np.ptp(self.dial.knots_mps)
        play_mps = float(max(self.nuisance[PLAY], tuned.FOLLOWED_PLAY_MPS) / gain)
        return PointerPlay.behind(self.clock_s, speed, self.known, play_mps=play_mps)

    def _listen(self, name: str, view: View) -> None:
        """Renew the messages of a channel, and what is believed of its noise."""
        channel, state = (self.track, self.log)[name == "log"], self.states[name]
        mean = view.constant + view.places.of(self.coefficients, view.row)
        variance = np.maximum(view.places.variances(self.inverse, view.row, view.row), 1e-10)
        alike = state.alike_by_now(self._alike(name, view)) if channel.step_mps else np.ones(1)
        cavity, cavity_variance = rounded_likelihood.without(mean, variance, state.message.times(alike))
        steep = view.gain * view.places.of(self.coefficients, view.places.rate)
        stated = channel.u_mps**2
        wrong = rounded_likelihood.wrong_of_log(steep) if name == "log" else rounded_likelihood.WRONG_DENSITY
        value, step = channel.value_mps, channel.step_mps
        told = rounded_likelihood.told_by(value, step, state.noise.at(steep) + stated, cavity, cavity_variance, wrong)
        share = 1.0 if not state.message.precision.any() else _BLEND * self.pace.share
        view.right = told.right
        state.message = state.message.blended(told.message.times(1 / alike), share)
        state.noise.learn(
            told,
            lambda noise: rounded_likelihood.log_likelihood(
                value, step, noise + stated, cavity, cavity_variance, wrong
            ),
            steep=steep,
            least=max(tuned.LEAST_NOISE_MPS, tuned.LEAST_NOISE_STEPS * channel.step_mps) ** 2,
            local=name == "track",
        )

    def _alike(self, name: str, view: View) -> FloatArray:
        """Return how many values tell what each tells: those of a log of its dial, those of a track of the speed.

        On the dial they lie where it would show them at once: told by their lag as well, the lag swings with them, and
        of receivers that smooth one log in 20 more does not settle.
        """
        track, places = self.track, view.places
        speed = places.of(self.coefficients, places.value)
        if name == "log":
            shown = view.constant + view.gain * speed
            return telling_dial_alike(self.log.value_mps, self.log.piece, exact=shown, step=self.log.step_mps)
        return telling_speed_alike(
            track.value_mps,
            track.piece,
            moved=_since_before(speed),
            wandered2=self.motion.wander2[places.index[1]] * _since_before(track.time_s),
            step=track.step_mps,
        )

    def _improve(self, views: dict[str, View], factor: Banded) -> bool:
        """Take a step of clock, damping, drift and dial."""
        log, track = views["log"], views["track"]
        places = log.places
        precision, pull = {}, {}
        for name, view in views.items():
            message = self.states[name].message
            precision[name] = message.precision
            mean = view.constant + view.places.of(self.coefficients, view.row)
            pull[name] = message.shift - message.precision * mean
        bent, moved = self._moved(track, log)
        weight, bent_weight = precision["log"][:, None] * moved, precision["track"] * bent
        carried = places.brought(log.row, len(self.grid)) @ weight
        carried[:, DAMPING] += track.places.add_up(track.row, bent_weight, len(self.grid))
        others = np.stack([log.gain * places.rate, log.plain])
        shaky, own = precision["log"] * places.variances(self.inverse, log.row, others)
        self.last = LastStep(
            views=(track, log),
            table=self.table,
            since_s=self.log.time_s - self.middle_s,
            moved=(bent, moved),
            precision=(precision["track"], precision["log"]),
            pull=(pull["track"], pull["log"]),
            shaky=shaky,
            own=own,
            carried=carried,
            factor=factor,
            none=tuple(self.none),
        )
        taken_up = factor.half_solved(carried)
        information = weight.T @ moved - taken_up.T @ taken_up
        information[DAMPING, DAMPING] += bent_weight @ bent
        information = (information + information.T) / 2
        prior_mean = np.concatenate([[self.nuisance[CLOCK], 0.0, 0.0, 0.0, 0.0], self.dial.knots_mps])
        here = np.concatenate([self.nuisance, self.dial.shown_mps])
        step, surprise = newton_step(
            information + self.prior, self.last.slope() - self.prior @ (here - prior_mean), none=self.none
        )
        rise = step[NUISANCES:]
        self.pace.go(rise, information[NUISANCES:, NUISANCES:])
        self.nuisance = self.nuisance + _EASED * step[:NUISANCES]
        self.dial = replace(self.dial, shown_mps=self.dial.shown_mps + self.pace.share * rise)
        turning = float(np.max(np.abs(step[:NUISANCES]) / _SETTLED))
        rising = float(np.max(np.abs(rise))) / _SETTLED_MPS
        moving = max(turning, rising)
        self.last.moving = moving
        if self.seldom:
            surprise.pop(DAMPING, None)
        if surprise and max(surprise.values()) > max(moving, 1.0):
            self.none.remove(max(surprise, key=lambda which: surprise[which]))
            self.pace.share = 1.0
            for state in self.states.values():
                state.rounds = 0
            return False
        return rising < _AT_REST and turning < _NEARLY_AT_REST

    def _moved(self, track: View, log: View) -> tuple[FloatArray, FloatArray]:
        """Return what damping moves each value of the track by, and what each unknown moves those of the log by."""
        damping, places = self.nuisance[DAMPING], log.places
        smooth = self.grid.smooth_bending(self.coefficients, _SMOOTH_S)
        turn = log.gain * places.of(self.coefficients, places.rate)
        if damping >= 0:
            bent_track, bent_log = -self.grid.bending_at(track.places, smooth), np.zeros_like(turn)
        else:
            bent_track, bent_log = np.zeros(len(track.constant)), log.gain * self.grid.bending_at(places, smooth)
            bending = self.grid.bending_at(places, self.grid.bending(self.coefficients))
            turn += log.gain * np.sqrt(-2 * damping) * bending
        since = self.log.time_s - self.middle_s
        weights = self.table.weights(log.at)
        return bent_track, np.column_stack([turn, bent_log, turn * since, log.later, log.hangs, weights])

    def _fit(self, last: LastStep) -> Fit:
        """Return what the last step led to."""
        log = last.views[-1]
        return Fit(
            clock_offset_s=float(self.nuisance[CLOCK]),
            damping_s2=float(self.nuisance[DAMPING]),
            drift=float(self.nuisance[DRIFT]),
            uneven_s=float(self.nuisance[UNEVEN]),
            play_mps=float(self.nuisance[PLAY]),
            pointer=self._pointer(),
            dial=self.dial,
            speed_mps=log.places.of(self.coefficients, log.plain),
            u_speed_mps=np.sqrt(np.maximum(log.places.variances(self.inverse, log.plain, log.plain), 0.0)),
            off_mps=self.log.value_mps - log.constant - log.places.of(self.coefficients, log.row),
            right=log.right,
            noise_mps=float(np.sqrt(median(self.states["log"].noise.variance))),
            score=last.score_of_each(),
            information=last.information_of_each(),
            time_s=np.concatenate([self.track.time_s, self.log.time_s + self.nuisance[CLOCK]]),
            prior=self.prior + np.diag(_HELD * np.isin(np.arange(len(self.prior)), last.none)),
            settled=last.moving < 1,
        )
