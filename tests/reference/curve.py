"""Monotone cubic interpolation by SciPy, without and with fairings. Writes JSON.

A fairing is checked by a way of its own: the rate of the curve's time rises as 3z^2 - 2z^3 over
the fairing and falls likewise at the other end; its integral is taken numerically.
"""

import json
from importlib.metadata import version

import numpy as np
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator

CASES = [
    # frame, value
    {"keys": [[1, 0.0], [24, 10.0], [48, 12.0], [96, 90.0]], "fairing": [0, 0]},
    {"keys": [[1, 5.0], [10, -3.0], [30, -3.0], [31, 40.0], [60, 12.5], [61, 12.25]],
     "fairing": [0, 0]},
    {"keys": [[3, -1.0], [50, 4.0]], "fairing": [0, 0]},
    # Values (from memory) of Fritsch and Carlson's example data set RPN 14, at whole
    # frames in place of its abscissae: flat, then steep.
    {"keys": [[1, 0.0], [2, 0.0000276429], [9, 0.0437498], [10, 0.169183], [15, 0.469428],
              [30, 0.943740], [50, 0.998636], [60, 0.999919], [80, 0.999994]],
     "fairing": [0, 0]},
    {"keys": [[1, 0.0], [40, 10.0], [60, 12.0], [96, 90.0]], "fairing": [24, 12]},
    {"keys": [[1, 0.0], [96, 500.0]], "fairing": [0, 24]},
]


def own_time(case):
    first, last = case["keys"][0][0], case["keys"][-1][0]
    rise, fall = case["fairing"]

    def rate(frame):
        up = min((frame - first) / rise, 1.0) if rise else 1.0
        down = min((last - frame) / fall, 1.0) if fall else 1.0
        return (3 * up**2 - 2 * up**3) * (3 * down**2 - 2 * down**3)

    def time(frame):
        if not rise and not fall:
            return float(frame)
        corners = sorted(c for c in (first + rise, last - fall) if first < c < frame)
        edges = [first, *corners, frame]
        return sum(quad(rate, a, b, epsabs=1e-13, epsrel=1e-13)[0]
                   for a, b in zip(edges, edges[1:]))

    return time


def values(case):
    time = own_time(case)
    curve = PchipInterpolator([time(f) for f, _ in case["keys"]], [v for _, v in case["keys"]])
    first, last = case["keys"][0][0], case["keys"][-1][0]
    frames = np.linspace(first, last, 4 * (last - first) + 1)
    return [[float(f), float(curve(time(f)))] for f in frames[::3]]


print(json.dumps({
    "library": "scipy",
    "version": version("scipy"),
    "function": "scipy.interpolate.PchipInterpolator",
    "cases": [{**case, "values": values(case)} for case in CASES],
}))
