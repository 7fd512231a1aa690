"""A face through time in plain Python: one step after the other, one figure at a time.

The same equations as `dryspell.science.balance` and `dryspell.science.course` have in their docstrings, and nothing of
their code. Each step is tried until what comes out is what was put in.
"""

import math

SIGMA, KELVIN = 5.670374419e-8, 273.15
LATENT_J_KG = 2.45e6
GAMMA_HPA_K = 0.665e-3 * 1013.25


def vapour_hpa(t_c):
    """Return the saturation vapour pressure over water."""
    return 6.112 * math.exp(17.62 * t_c / (243.12 + t_c))


class Instant:
    """What the weather of an instant does to a face."""

    def __init__(self, air_c, dew_c, wind, sun, sky, face):
        calm, per_wind = face.convection
        h = calm + per_wind * face.wind_factor * wind
        around = SIGMA * (air_c + KELVIN) ** 4
        self.air_c, self.emissivity = air_c, face.emissivity
        self.loss = h + face.back_conductance_w_m2_k
        longwave = face.emissivity * (face.sky_view * sky + (1 - face.sky_view) * around)
        self.gain = face.absorptance * sun + longwave + self.loss * air_c
        self.per_hpa, self.vapour = h / GAMMA_HPA_K, vapour_hpa(dew_c)

    def at(self, t_c):
        """Return the heat that a dry face takes up and its fall per kelvin, and the same of what vapour takes away."""
        emitted = self.emissivity * SIGMA * (t_c + KELVIN) ** 4
        heat, slope = self.gain - self.loss * t_c - emitted, self.loss + 4 * emitted / (t_c + KELVIN)
        saturated = vapour_hpa(t_c)
        latent = self.per_hpa * (saturated - self.vapour)
        return heat, slope, latent, self.per_hpa * saturated * 17.62 * 243.12 / (243.12 + t_c) ** 2

    def settled(self, wet):
        """Return the temperature at which the face takes up nothing."""
        t_c = self.air_c
        for _ in range(8):
            heat, slope, latent, latent_slope = self.at(t_c)
            share = 1.0 if latent < 0 else wet
            t_c += (heat - share * latent) / (slope + share * latent_slope)
        return t_c


def step(before, after, start_c, start_mm, rained_mm, step_s, face):
    """Return temperature and water at the end of a step."""
    begins = before.at(start_c)
    end_c, last, moved = start_c, None, 0.0
    for _ in range(60):
        ends = after.at(end_c)
        evaporating = [max(latent, 0.0) for _, _, latent, _ in (begins, ends)]
        condensing = [max(-latent, 0.0) for _, _, latent, _ in (begins, ends)]
        kg = step_s / 2 / LATENT_J_KG
        got, could_lose = sum(condensing) * kg + rained_mm, sum(evaporating) * kg
        share = min((start_mm + got) / could_lose, 1.0) if could_lose > 0 else 1.0
        conductance, equilibrium = [], []
        for (heat, slope, _, latent_slope), t_c, away, comes in zip(
            (begins, ends), (start_c, end_c), evaporating, condensing, strict=True
        ):
            conductance.append(slope + share**3 * latent_slope)
            equilibrium.append(t_c + (heat + comes - share * away) / conductance[-1])
        y = sum(conductance) * step_s / 2 / face.heat_capacity_j_m2_k
        left = math.exp(-y)
        mean = (1 - left) / y
        new_c = start_c * left + equilibrium[0] * (mean - left) + equilibrium[1] * (1 - mean)
        now = new_c - end_c
        if abs(now) < 1e-7:
            break
        # Where it goes to and fro, the secant through the last two says how far to go.
        ratio = now / moved if last is not None and moved else 0.0
        moved, last = now, end_c
        end_c += now / (1 - min(ratio, 0.0)) if ratio < 0 else now
    return end_c, min(max(start_mm + got - could_lose, 0.0), face.wet_absorbs_mm)


def march(step_s, weather, rain_mm, face):
    """Return temperatures and water of a dry start, as lists.

    `weather` is a list for each of air, dew point, wind, sun and sky; `rain_mm` what fell in the step that ends then.
    """
    instants = [Instant(*figures, face) for figures in zip(*weather, strict=True)]
    temperatures, waters = [instants[0].settled(0.0)], [0.0]
    for k in range(1, len(instants)):
        t_c, mm = step(instants[k - 1], instants[k], temperatures[-1], waters[-1], rain_mm[k], step_s, face)
        temperatures.append(t_c)
        waters.append(mm)
    return temperatures, waters
