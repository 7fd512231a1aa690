"""The judgement of one start in plain loops, written from the rules and not from the vectorised code.

Stages: for each 15 minutes the part done is the mean of the parts per hour at both ends; a stage is over where the
parts sum to one, told to the full second. Times between tabulated temperatures lie on a straight line in log(time).

Still air (under 0.3 m/s, or the shelter closed) takes 1.3 times as long, air under 30 % over a waterborne film 0.8
times. Damp air counts by its table, after dew-safe at most 1.25 times; over a waterborne film before it by the share of
the vapour pressure that it leaves, full at 55 % at the film; a moisture-cured film goes by min(1, w / 10 g/kg) instead.
What holds for the whole film (thick, thinned, oily wood, a coat too soon on the one below) multiplies what the parts
have to sum to.
"""

import math
from itertools import pairwise

import numpy as np

from dryspell.outlook.model import Limit

STAGES = ("touch_dry", "dew_safe", "rain_safe", "sandable")


def hours_at(points, temperature, below):
    if math.isnan(temperature):
        return math.nan
    if temperature > points[-1][0]:
        return points[-1][1]
    if temperature < points[0][0]:
        if below == "stops" or temperature <= 0:
            return math.inf
        return points[0][1] * 2 ** ((points[0][0] - temperature) / 7)
    for (t0, h0), (t1, h1) in pairwise(points):
        if t0 <= temperature <= t1:
            return math.exp(math.log(h0) + (math.log(h1) - math.log(h0)) * (temperature - t0) / (t1 - t0))
    return points[0][1]


def slowed_by_damp(humidity):
    table = [(65, 1.0), (75, 1.15), (80, 1.25), (85, 1.4), (90, 1.7), (95, 2.2)]
    if humidity <= 65:
        return 1.0
    for (h0, f0), (h1, f1) in pairwise(table):
        if humidity <= h1:
            return f0 + (f1 - f0) * (humidity - h0) / (h1 - h0)
    return 2.2


def saturated_hpa(temperature):
    return 6.112 * math.exp(17.62 * temperature / (243.12 + temperature))


def speeds(coating, humidity, dew_point, surface, wind, closed):
    """Return the share of the printed speed before and after dew-safe; NaN is not known."""
    slow = (1.3 if closed or wind < 0.3 else 1.0) * (
        0.8 if coating.cures_by == "coalescence" and humidity < 30 else 1.0
    )
    if coating.cures_by == "moisture":
        vapour = saturated_hpa(dew_point)
        share = 622 * vapour / (1013.25 - vapour) / 10
        share = share if math.isnan(share) else min(1.0, share)
        return share / slow, share / slow
    if not coating.humidity_slows:
        return 1 / slow, 1 / slow
    damp = math.nan if math.isnan(humidity) else slowed_by_damp(humidity)
    late = 1 / (slow * (damp if math.isnan(damp) else min(damp, 1.25)))
    if coating.cures_by != "coalescence":
        return 1 / (slow * damp), late
    share = (1 - saturated_hpa(dew_point) / saturated_hpa(surface)) / 0.45
    return (share if math.isnan(share) else min(max(share, 0.0), 1.0)) / slow, late


class Plain:
    """One member's conditions with the coating's parts per hour, as lists.

    `whole` multiplies the time of every film, `quick` that of films laid no later than `quick_until`, `late` that of
    sandable only.
    """

    def __init__(self, c, coating, member, whole=1.0, closed=False, quick=1.0, quick_until=None, late=1.0):
        self.c, self.coating, self.n = c, coating, c.times.size
        self.whole, self.quick, self.quick_until, self.late = whole, quick, quick_until, late
        row = {name: getattr(c, name)[member].tolist() for name in (
            "air_c", "humidity_pct", "dew_point_c", "surface_c", "wind_m_s", "rain_mm", "rain_chance_pct", "water_mm",
        )}  # fmt: skip
        self.__dict__.update(row)
        self.margin = [s - d for s, d in zip(self.surface_c, self.dew_point_c, strict=True)]
        self.wet = [w > 0.005 or m <= 0 for w, m in zip(self.water_mm, self.margin, strict=True)]
        self.in_hours, self.light = c.in_hours.tolist(), c.in_daylight.tolist()
        self.covered = [False] * self.n if c.under_cover is None else c.under_cover.tolist()
        self.step_h = c.step_s / 3600
        self.parts = {}
        for stage in STAGES:
            full, capped = [], []
            for k in range(self.n):
                hours = hours_at(coating.stage(stage), self.surface_c[k], coating.below_coldest)
                part = 0.0 if math.isnan(hours) or math.isinf(hours) else 1 / hours
                early, late = speeds(
                    coating, self.humidity_pct[k], self.dew_point_c[k], self.surface_c[k], self.wind_m_s[k], closed
                )
                full.append(0.0 if math.isnan(early) else part * early)
                capped.append(0.0 if math.isnan(late) else part * late)
            self.parts[stage] = full, capped

    def known(self, k):
        needed = (self.air_c, self.humidity_pct, self.surface_c, self.dew_point_c, self.wind_m_s, self.rain_mm)
        return not any(math.isnan(series[k]) for series in (*needed, self.water_mm))

    def needed(self, stage, laid):
        """Return what the parts of a film laid at an index have to sum to."""
        soon = self.quick_until is not None and bool(self.c.times[laid] <= self.quick_until)
        late = self.late if stage == "sandable" else 1.0
        return self.whole * late * (self.quick if soon else 1.0) - 1e-9

    def reached(self, stage, laid):
        """Return the steps, to the second, until a film laid at an index is through a stage, or infinity."""
        needed = self.needed(stage, laid)
        full, capped = self.parts[stage]
        turn = laid + self.reached("dew_safe", laid) if stage == "sandable" else math.inf
        done = 0.0
        for k in range(laid, self.n - 1):
            early = (full[k] + full[k + 1]) / 2 * self.step_h
            late = (capped[k] + capped[k + 1]) / 2 * self.step_h
            # The step in which the film becomes dew-safe is early up to there and late from there on.
            share = min(max(turn - k, 0.0), 1.0)
            if done + early * share >= needed:
                return self.to_the_second(k - laid + (needed - done) / early)
            done += early * share
            rest = late * (1 - share)
            if done + rest >= needed:
                return self.to_the_second(k - laid + share + (needed - done) / rest * (1 - share))
            done += rest
        return math.inf

    def to_the_second(self, steps):
        return math.ceil(steps * self.c.step_s - 1e-6) / self.c.step_s

    def on_soft(self, start, brush, soft):
        if soft is None:
            return False
        opens, closes = soft
        end = self.c.times[0] + np.timedelta64(round((start + brush) * self.step_h * 3600), "s")
        return bool(self.c.times[start] >= opens) and bool(end <= closes)

    def verdicts(self, start, brush, settle, ready, reserve, guard, soft=None):
        """Return what each limit says of a start."""
        coating, last = self.coating, self.n - 1
        stroke = start + brush
        laid = min(stroke, last)

        def end(stage):
            taken = self.reached(stage, laid)
            return math.inf if math.isinf(taken) else stroke + math.ceil(taken * (1 + reserve) - 1e-9)

        ends = {stage: end(stage) for stage in STAGES}
        cold = min(ends["sandable"], stroke + round(24 / self.step_h))
        needed = max(stroke, ends["touch_dry"], ends["dew_safe"], ends["rain_safe"], cold)
        known = needed <= last and all(self.known(k) for k in range(start, needed + 1))

        def span(series, to):
            return series[start : int(min(max(to, start), last)) + 1]

        def low(series, bound, to):
            return all(not value < bound for value in span(series, to))  # what is not known breaks no limit

        def high(series, bound, to):
            return all(not value > bound for value in span(series, to))

        def any_wet(first, to):
            return any(self.wet[max(first, 0) : to + 1])

        before = self.margin[max(start - settle, 0) : start + 1]
        held = all(margin >= coating.margin_apply_k for margin in before)
        lately = any_wet(start - round(12 / self.step_h), start)
        excess = [s - a for s, a in zip(self.surface_c, self.air_c, strict=True)]
        rain_to = int(min(max(ends["rain_safe"], start + 1), last))
        fallen = [0.0 if math.isnan(mm) else mm for mm in self.rain_mm[min(start + 1, last) : rain_to + 1]]
        chance = [0.0 if math.isnan(p) else p for p in self.rain_chance_pct[min(start + 1, last) : rain_to + 1]]
        rain = max(sum(fallen), max(fallen) / self.step_h)
        air, surface = coating.air_c, coating.surface_c
        return {
            Limit.COAT_BELOW: bool(self.c.times[start] >= ready) or self.on_soft(start, brush, soft),  # NaT is never
            Limit.HOURS: all(span(self.in_hours, laid)),
            Limit.COVER: not any(span(self.covered, laid)),
            Limit.DAYLIGHT: all(span(self.light, laid)),
            Limit.DRY: not (any_wet(start - settle, laid) or (lately and not held)),
            Limit.AIR_LOW: low(self.air_c, air[0] + guard, laid),
            Limit.AIR_HIGH: high(self.air_c, air[1] - guard, laid),
            Limit.SURFACE_LOW: low(self.surface_c, surface[0] + guard, laid),
            Limit.SURFACE_HIGH: high(self.surface_c, surface[1] - guard, ends["touch_dry"]),
            Limit.HUMIDITY: high(self.humidity_pct, coating.humidity_max_pct, laid),
            Limit.MARGIN_APPLY: low(self.margin, coating.margin_apply_k + guard, laid),
            Limit.WIND: high(self.wind_m_s, coating.wind_stop_m_s, laid),
            Limit.SUN: high(excess, coating.sun_excess_k, ends["touch_dry"]),
            Limit.MARGIN_HOLD: low(self.margin, coating.margin_hold_k + guard, ends["dew_safe"]),
            Limit.RAIN: rain < max(coating.rain_max_mm - 1e-9, 1e-6),
            Limit.RAIN_CHANCE: max(chance) < coating.rain_chance_max_pct,
            Limit.COLD: low(self.surface_c, coating.film_low_c + guard, cold),
            Limit.KNOWN: known,
        }
