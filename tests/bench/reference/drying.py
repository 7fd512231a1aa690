"""When a film is through a stage, in plain Python: one step after the other."""

import math


def completion(start, seconds, rate, needed=1.0):
    """Return the second at which the sum from `start` on is complete, walking the steps; None where it never is."""
    if not seconds[0] <= start <= seconds[-1]:
        return None
    still = needed - 1e-9
    for k in range(len(seconds) - 1):
        begin, end = max(seconds[k], start), seconds[k + 1]
        if end <= start:
            continue
        mean = (rate[k] + rate[k + 1]) / 2
        if math.isnan(mean):
            return None
        gain = mean * (end - begin) / 3600
        if gain >= still:
            return math.ceil(begin + still / mean * 3600)
        still -= gain
    return None
