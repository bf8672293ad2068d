"""The `foreseeing` rule: fly through the dull part, then read where it tells most about the equivalence point.

A running estimate of the whole curve (`titrator.control.foresight`) says where the next equivalence point lies and how
sure that is. Up to a safe distance titrant runs in without a stop, read in passing; then the distance is cut down as
far as its uncertainty allows, and a few readings close about the jump decide the result: before the corner instead,
where another solid sets in at the point. Each is waited for as long as it is worth.
What the estimate did not expect hands the run over to the `adaptive` rule, which expects nothing.
"""

from __future__ import annotations

import math
from collections import deque

from titrator.control.foresight.corner import corner_of
from titrator.control.foresight.design import Design, potential_at
from titrator.control.foresight.estimate import Datum, Estimate
from titrator.control.increments.adaptive import Adaptive
from titrator.control.increments.base import Ahead, Step
from titrator.control.increments.foreseeing_settings import ForeseeingSettings, Foresight
from titrator.control.point import Passing, Point
from titrator.control.settling import Enough
from titrator.control.settling.verdict import LAW_SHARE

KEPT = 24
KEPT_PASSING = 12
SURE = 2.2
"""Standard deviations that a flight stays away from the earliest place of the jump."""
SAFE, CREEP = 2.3, 0.7
"""Standard deviations that a reading before the jump stays away from it, and the most that is left of the distance to
one that is badly known: smaller additions would tell nothing new."""
ANSWER = 4.0
"""An electrode that has moved by fewer times the noise since the beginning is looked at at rest: it may be dead."""
ESTABLISHED = 2.5
"""Lags after which mixing and electrode follow at a constant distance: exp(-2.5) is 8 % short of it."""
LANDED_LN_SD = 0.06
"""A flight is over once the amount is known to this share; before, it goes on from a reading at rest."""
KNOWN_LN_SD = 0.15
"""An amount known to that is normally distributed; less well known ones are profiled."""
UNLIKELY = 5.0
"""Rise of the sum of squares that rules an amount out (2.2 standard deviations)."""
CLOSE, ANCHOR, ALIKE = 20.0, 3.0, 3.0
"""Points count as close within so many standard deviations of the burette; the branch behind is read so many times
further off; an electrode answers alike within so many times that distance (it is slowest all about the jump)."""
BRANCH = 0.012
"""Share of the amount behind the jump where its curve is flat again."""
FLANK, BEHIND, WIDE = 3.0, 15.0, 2.5
"""A shallow jump is read so many of its widths s·dV/dE before it and, at least, behind it: its branches tell its
potential. What lies within so many counts as close to it."""
ANCHORS = (1.0, 2.0, 4.0, 8.0)
"""The branch behind the last jump is read at one of these multiples of the least distance."""
BEFORE, AFTER = 4, 3
"""So many readings at rest lie on either side of a jump, whatever the estimate: a derivative, Gran's lines and the eye
want them."""
MOST_PLACES = 16
MOST_mV = 5.0
"""In mid-jump a reading may err by so much; the chord of the curve is then still well within the jump."""
LANDING = 0.06
"""A flight ends this share of the amount before the jump."""
CREDIBLE = 4.0
"""Mean square of residuals over variances beyond which the law is not that of the curve."""
COARSE = 10.0
"""Additions beyond so many of the least far from the jump are whole ones of these, smaller ones of the finest."""
EDGE = 1.001
"""A place at the very edge of what is close counts as close, whatever the last bit says."""
CORNER, PASSED, BEHIND_CORNER = 5.0, 0.4, 2
"""Before the corner where another solid sets in, points lie about so many standard deviations of the burette apart;
this share of the way behind it may be unmixed, and so many readings see that it is one."""
STRANGE, VERY_STRANGE = 5.0, 12.0
"""Standard deviations off what was foreseen: two such points, or one, hand the run over."""


class Foreseeing:
    """See the module. Without a law it is the `adaptive` rule."""

    def __init__(self, settings: ForeseeingSettings, foresight: Foresight | None, random_error_mL: float) -> None:
        self._settings = settings
        self._adaptive = Adaptive(settings.fallback, random_error_mL)
        self._foresight = foresight
        self._estimate = None if foresight is None else Estimate(foresight.law, foresight.before)
        self._sign = 1.0 if foresight is None or foresight.rising else -1.0
        self._points: deque[Datum] = deque(maxlen=KEPT)
        self._passing: deque[Datum] = deque(maxlen=KEPT_PASSING)
        self._jump = 0  # which equivalence point is sought, from 0
        self._flying = True
        self._leg_mL = settings.fallback.first_mL / 2.0
        self._strange = 0
        self._here_mL = 0.0
        self._answered = True
        self._behind = self._near = 0
        self._width_mL = settings.finest_mL
        self._enough: str | None = None
        self.handed_over: str | None = None
        """Why the adaptive rule goes on; None while it does not."""

    @property
    def enough(self) -> str | None:
        return self._enough

    @property
    def seeks_more(self) -> bool:
        return self._foresight is not None and self.handed_over is None

    @property
    def initial(self) -> Enough | None:
        return None if self._foresight is None else Enough(2.0 * self._settings.far_mV)

    @property
    def ahead(self) -> Ahead | None:
        """From the first reading at rest near the last jump on: each one before it cuts the distance to about a tenth,
        `near` lie about it, the last one behind."""
        estimate = self._estimate
        if estimate is None or self.handed_over or self._flying or self._jump + 1 < self._foresight_.sought:
            return None
        jump_mL, zone_mL = estimate.points_mL()[self._jump], self._zone_mL()
        if self._enough is not None:
            return Ahead(None, 0)
        away_mL = jump_mL - self._points[-1].volume_mL
        legs = round(math.log10(max(away_mL, zone_mL) / zone_mL))
        close = 0 if self._passed(away_mL) else max(self._settings.near - self._near, AFTER - 1 - self._behind, 0)
        return Ahead(None if self._behind else jump_mL, legs + close + 1)

    # ------------------------------------------------------------------------------------------ learning
    def add_point(self, point: Point) -> None:
        self._adaptive.add_point(point)
        self._here_mL = point.volume_mL
        estimate = self._estimate
        if estimate is None or self.handed_over:
            return
        sd_mV = math.sqrt(point.sd_mV**2 + point.lacking_sd_mV**2 + (LAW_SHARE * point.lacking_mV) ** 2)
        datum = Datum(point.volume_mL, self._sign * (point.potential_mV + point.lacking_mV), sd_mV)
        if len(self._points) >= 2 and estimate.law.layered == 1:  # a corner ahead is foreseen by no derivative
            self._judge(estimate, datum)
        self._points.append(datum)
        if datum.volume_mL > 0.0 and not self.handed_over:
            self._fit(estimate)
            if estimate.misfit > VERY_STRANGE * len(self._points):
                self.handed_over = self._misfit_said(estimate)
                return
            if self._flying and estimate.ln_sd(self._jump) < LANDED_LN_SD:
                self._flying = False
            self._leg_mL = self._settings.fallback.first_mL
            self._width_mL = self._width_of(estimate, datum)
            self._count(estimate, datum)

    def add_passing(self, passing: Passing) -> None:
        estimate = self._estimate
        if estimate is None or self.handed_over:
            return
        self._here_mL = passing.reached_mL
        lag_mL = estimate.lag_s() * passing.speed_mL_per_s
        if passing.volume_mL - self._points[-1].volume_mL < ESTABLISHED * lag_mL:
            return  # mixing and electrode still gather speed: how far they are behind is not yet a constant
        y_mV = self._sign * passing.potential_mV
        self._answered = y_mV - self._points[0].y_mV > ANSWER * self._foresight_.costs.noise_mV
        self._passing.append(Datum(passing.volume_mL, y_mV, max(passing.sd_mV, 0.1), passing.speed_mL_per_s))

    def _fit(self, estimate: Estimate) -> None:
        at_rest = [each for each in self._points if each.volume_mL > 0.0]
        data = at_rest if len(at_rest) >= 3 and not self._flying else [*at_rest, *self._passing]
        try:
            estimate.fit(data)
        except ValueError as error:
            self.handed_over = _unfit_said(error)

    def _judge(self, estimate: Estimate, datum: Datum) -> None:
        """How far the new point lies from what was foreseen, by its volume and by its potential: the less counts.

        In the jump no potential can be foreseen, and on a branch that is badly known no volume.
        """
        foreseen_mL, own = estimate.predicted_mL(datum)
        gradient = estimate.gradient(datum, estimate.at(datum.y_mV), estimate.amounts_mL(), estimate.lines())
        away = abs(datum.volume_mL - foreseen_mL) / math.sqrt(own + estimate.variance(gradient))
        if away > STRANGE:
            foreseen_mV, place = potential_at(estimate, datum.volume_mL, datum.y_mV)
            there = datum._replace(y_mV=foreseen_mV)
            gradient = estimate.gradient(there, place, estimate.amounts_mL(), estimate.lines())
            sd_mL = math.sqrt(estimate.predicted_mL(there)[1] + estimate.variance(gradient))
            away = min(away, abs(datum.y_mV - foreseen_mV) * place.slope_mL_per_mV / sd_mL)
        if away > STRANGE:
            self._strange += 1
        if away > VERY_STRANGE or self._strange >= 2:
            self.handed_over = f"a point lies {away:.0f} standard deviations from where it was foreseen"

    def _count(self, estimate: Estimate, datum: Datum) -> None:
        """Recount the points about the jump, which the newest point may have moved."""
        jump_mL = estimate.points_mL()[self._jump]
        zone_mL = self._zone_mL()
        self._behind = sum(each.volume_mL > jump_mL for each in self._points)
        if self._cornered:
            before = [each for each in self._points if estimate.layers.at(each.volume_mL) <= self._jump + 1]
            self._behind = len(self._points) - len(before)
            self._near = sum(abs(each.volume_mL - jump_mL) <= zone_mL for each in before)
            done = self._behind >= BEHIND_CORNER
        else:
            self._near = sum(abs(each.volume_mL - jump_mL) <= zone_mL for each in self._points)
            done = self._behind >= AFTER and datum.volume_mL - jump_mL >= 0.6 * self._anchor_mL()
        if not done:
            return
        if estimate.misfit > CREDIBLE * len(self._points):
            self.handed_over = self._misfit_said(estimate)
            return
        if self._jump + 1 < self._foresight_.sought:
            self._jump += 1
            self._flying = True
            self._passing.clear()
            self._leg_mL = self._settings.fallback.first_mL / 2.0
        else:
            self._enough = f"{self._near} points close about the jump, {self._behind} behind it: what was sought"

    def _misfit_said(self, estimate: Estimate) -> str:
        times = math.sqrt(estimate.misfit / len(self._points))
        return f"the points lie {times:.1f} times as far off the law of the curve as they may"

    @property
    def _foresight_(self) -> Foresight:
        assert self._foresight is not None
        return self._foresight

    def _zone_mL(self) -> float:
        """How far from the jump a point counts as close."""
        if self._cornered:
            return self._settings.near * self._apart_mL() + self._width_mL
        return max(CLOSE * self._foresight_.before.volume_sd_mL, 3.0 * self._settings.finest_mL, WIDE * self._width_mL)

    def _width_of(self, estimate: Estimate, here: Datum) -> float:
        """How wide the jump is, s·dV/dE in its middle: next to nothing on a steep one."""
        if self._cornered:
            return corner_of(estimate, self._jump).width_mL
        _, place = potential_at(estimate, estimate.points_mL()[self._jump], here.y_mV)
        return place.slope_mL_per_mV * estimate.lines()[1][0]

    def _anchor_mL(self) -> float:
        """How far behind the jump the branch behind is read at least."""
        assert self._estimate is not None
        return max(ANCHOR * self._zone_mL(), BRANCH * self._estimate.amounts_mL()[self._jump], BEHIND * self._width_mL)

    # ------------------------------------------------------------------------------------------ choosing
    def next_step(self) -> Step:
        step = self._wanted()
        return step if self._foresight is None else step._replace(addition_mL=self._whole_mL(step.addition_mL))

    def _whole_mL(self, addition_mL: float) -> float:
        """Whole smallest additions: the last digits of an estimate decide nothing."""
        least_mL, finest_mL = self._settings.fallback.least_mL, self._settings.finest_mL
        unit_mL = least_mL if addition_mL > COARSE * least_mL else finest_mL
        return unit_mL * max(1, round(addition_mL / unit_mL))

    def _wanted(self) -> Step:
        estimate = self._estimate
        if estimate is None or self.handed_over:
            return self._adaptive.next_step()
        if self._flying:
            return self._fly(estimate, self._here_mL)
        return self._to_corner(estimate) if self._cornered else self._approach(estimate)

    def _fly(self, estimate: Estimate, here_mL: float) -> Step:
        try:
            low_mL = self._earliest_mL(estimate, here_mL)
        except ValueError as error:
            self.handed_over = _unfit_said(error)
            return self._adaptive.next_step()
        amount = estimate.amounts_mL()[self._jump]
        passed_mL = estimate.before_mL(self._jump)
        left_mL = low_mL - LANDING * (low_mL - passed_mL) - here_mL
        self._leg_mL = min(2.0 * self._leg_mL, max(left_mL, 0.0))
        last = left_mL < 0.03 * amount or self._leg_mL < self._settings.fallback.first_mL or not self._answered
        if last and here_mL <= self._points[-1].volume_mL and self._points[-1].volume_mL > 0.0:
            # What was just read at rest leaves no room before the earliest place: go on as who foresees nothing.
            return self._adaptive.next_step()._replace(enough=Enough(self._settings.far_mV))
        if last:
            slope = LANDING * amount / estimate.lines()[1][0]
            flown_mL = self._foresight_.costs.speed_mL_per_s  # of a long delivery what a second brings is unmixed
            needs_mV = self._branch_mV(estimate) if self._jump else self._settings.far_mV
            enough = self._enough_of(flown_mL, needs_mV, slope)
            return Step(max(self._leg_mL, self._settings.fallback.least_mL), enough)
        return Step(self._leg_mL, passing=True)

    def _earliest_mL(self, estimate: Estimate, here_mL: float) -> float:
        """Where the jump may lie at the earliest, in mL."""
        jump = self._jump
        data = [each for each in [*self._points, *self._passing] if each.volume_mL > 0.0]
        least_mL = math.inf
        if self._passing:
            if estimate.ln_sd(jump) > KNOWN_LN_SD:
                most_mL = 8.0 * estimate.before.amounts_mL[jump]
                from_mL = max(1.03 * (here_mL - estimate.before_mL(jump)), 0.01 * most_mL)
                least_mL = estimate.earliest_mL(jump, data, from_mL, most_mL, UNLIKELY)
            estimate.fit(data)
        likely_mL = estimate.amounts_mL()[jump] * math.exp(-SURE * estimate.ln_sd(jump))
        return estimate.before_mL(jump) + min(least_mL, likely_mL)

    @property
    def _cornered(self) -> bool:
        """Another solid sets in at the jump: only the branch before it tells where it is."""
        return self._jump + 1 < self._foresight_.law.layered

    def _apart_mL(self) -> float:
        """How far apart points before a corner are."""
        return max(self._settings.finest_mL, CORNER * self._foresight_.before.volume_sd_mL)

    def _to_corner(self, estimate: Estimate) -> Step:
        """The next reading at rest before a corner, or behind it."""
        here_mL, zone_mL, volume_sd_mL = self._points[-1].volume_mL, self._zone_mL(), estimate.before.volume_sd_mL
        corner = corner_of(estimate, self._jump)
        still = self._settings.near - self._near
        next_mL = corner.next_mL(here_mL, zone_mL, self._apart_mL(), still, volume_sd_mL)
        if next_mL is None:
            behind_mL = max(0.0, here_mL - corner.volume_mL) + self._anchor_mL()
            addition_mL, far_mV = corner.volume_mL + behind_mL - here_mL, self._settings.far_mV
            return Step(addition_mL, self._enough_of(addition_mL, far_mV, PASSED * behind_mL / far_mV))
        before_mL = corner.volume_mL - next_mL
        needs_mV = self._needs_mV(estimate, before_mL, corner.sd_mL)
        slope = max(before_mL, corner.sd_mL) / estimate.lines()[1][self._jump]
        enough = self._enough_of(next_mL - here_mL, needs_mV, slope)
        return Step(next_mL - here_mL, enough._replace(alike=corner.volume_mL - here_mL < ALIKE * zone_mL))

    def _approach(self, estimate: Estimate) -> Step:
        """The next reading at rest: nearer, about the jump, or behind it."""
        here, finest_mL, zone_mL = self._points[-1], self._settings.finest_mL, self._zone_mL()
        jump_mL = estimate.points_mL()[self._jump]
        sd_mL = estimate.point_sd_mL(self._jump)
        away_mL = jump_mL - here.volume_mL
        safe_mL = SAFE * sd_mL + 0.01 * max(away_mL, 0.0)
        design = Design(estimate, self._jump, here, self._foresight_.costs, estimate.covariance)
        last = False
        if away_mL > 0.0 and (safe_mL > zone_mL or away_mL > 2.0 * zone_mL):
            flank_mL = FLANK * self._width_mL
            left_mL = max(safe_mL, zone_mL, flank_mL if away_mL > 2.0 * flank_mL else 0.0)
            volumes = [jump_mL - min(left_mL, CREEP * away_mL)]
        elif self._passed(away_mL):
            last = self._jump + 1 == self._foresight_.sought  # farther behind another one the next might lie
            volumes = [jump_mL + each * self._anchor_mL() for each in (ANCHORS if last else ANCHORS[:1])]
        elif away_mL < -zone_mL:  # the jump was passed by: what lies behind it still tells
            volumes = [jump_mL - 1.6 * away_mL]
        else:
            volumes = self._close_mL(here, jump_mL)
            design = design.with_anchor(self._anchor_mL(), 0.5 * self._settings.far_mV)
        found = max(
            [
                design.prospect(each, self._needs_mV(estimate, each - jump_mL, sd_mL))
                for each in [max(volume_mL, here.volume_mL + finest_mL) for volume_mL in volumes]
            ],
            key=lambda prospect: -prospect.left if last else prospect.gain_per_s,
        )
        slope = estimate.at(found.y_mV).slope_mL_per_mV
        alike = max(abs(away_mL), abs(found.volume_mL - jump_mL)) < ALIKE * zone_mL
        addition_mL = found.volume_mL - here.volume_mL
        return Step(addition_mL, self._enough_of(addition_mL, found.enough_mV, slope)._replace(alike=alike))

    def _passed(self, away_mL: float) -> bool:
        """Whether nothing is left to read but the branch behind: the jump lies `away_mL` ahead, below 0 behind."""
        return self._behind >= AFTER - 1 and (self._near >= self._settings.near or away_mL < -self._zone_mL())

    def _close_mL(self, here: Datum, jump_mL: float) -> list[float]:
        """Places about the jump ahead of here, the least addition apart."""
        end_mL = jump_mL + self._zone_mL()
        finest_mL = self._settings.finest_mL
        volumes = [here.volume_mL + finest_mL]
        while volumes[-1] + finest_mL < end_mL and len(volumes) < MOST_PLACES:
            volumes.append(volumes[-1] + finest_mL)
        if len(self._points) - self._behind < BEFORE:
            return [each for each in volumes if each < jump_mL] or volumes[:1]
        if self._near < self._settings.near - 2:
            return volumes
        return [each for each in volumes if each > jump_mL] or volumes[-1:]  # enough of them before the jump

    def _needs_mV(self, estimate: Estimate, distance_mL: float, sd_mL: float) -> float:
        """The error of a reading that serves at a distance from the jump, itself known to `sd_mL`.

        Near the jump dV/dE is about the distance over the slope: the error then costs `patience` times the burette's.
        """
        settings, sd_V_mL = self._settings, estimate.before.volume_sd_mL
        slope_mV = estimate.lines()[1][0]
        if abs(distance_mL) > EDGE * self._zone_mL():
            return self._branch_mV(estimate)
        worth = settings.patience * sd_V_mL * slope_mV / (abs(distance_mL) + sd_mL + self._width_mL)
        return max(self._least_mV, min(worth, MOST_mV))

    def _branch_mV(self, estimate: Estimate) -> float:
        """The error that serves on a branch: it tells the potential of the jump, which turns into volume there."""
        settings = self._settings
        worth = settings.patience * estimate.before.volume_sd_mL * estimate.lines()[1][0] / self._width_mL
        return max(self._least_mV, min(settings.far_mV, worth))

    @property
    def _least_mV(self) -> float:
        """No reading has to err by less: a second or two of readings, averaged."""
        return 0.8 * self._foresight_.costs.noise_mV

    def _enough_of(self, addition_mL: float, needs_mV: float, slope_mL_per_mV: float) -> Enough:
        """A reading that is forecast once what is not yet mixed moves it by less than it may err."""
        costs = self._foresight_.costs
        unmixed_mL = min(addition_mL, costs.speed_mL_per_s * costs.mixing_s)
        allowed_mL = 0.5 * needs_mV * slope_mL_per_mV + 0.2 * self._foresight_.before.volume_sd_mL
        return Enough(needs_mV, 1.1 * math.log(max(1.0, unmixed_mL / allowed_mL)))


def _unfit_said(error: ValueError) -> str:
    return f"the law of the curve does not fit the points ({error})"
