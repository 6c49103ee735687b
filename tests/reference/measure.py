"""What readings tell, worked out by NumPy, SciPy and OpenCV. Writes JSON.

Nothing in here shares a formula's code with the program: fits are `scipy.stats.linregress`,
`numpy.linalg.lstsq` and `scipy.optimize.least_squares`, a swing is integrated with
`scipy.integrate.solve_ivp` and its turning points are that solver's events, and what the lens sees
is projected by OpenCV.
"""

import json
from importlib.metadata import version

import cv2
import numpy as np
from scipy import optimize, stats
from scipy.integrate import solve_ivp

rng = np.random.default_rng(230)


def positioning():
    """An axis with a lead error, a recurring error and slack; ISO 230-2's figures by NumPy."""
    targets = np.array([3.1, 41.7, 77.2, 118.9, 160.3, 199.4, 241.0])
    wave = 0.006 * np.sin(2 * np.pi * targets / 8)
    up = (1.00021 * targets + wave)[:, None] + rng.normal(0, 0.0021, (7, 5))
    down = (1.00021 * targets + wave + 0.0147)[:, None] + rng.normal(0, 0.0033, (7, 5))
    x_up, x_down = up - targets[:, None], down - targets[:, None]
    m_up, m_down = x_up.mean(1), x_down.mean(1)
    s_up, s_down = x_up.std(1, ddof=1), x_down.std(1, ddof=1)
    b = m_up - m_down
    r = np.max([2 * s_up + 2 * s_down + abs(b), 4 * s_up, 4 * s_down], axis=0)
    mid = (m_up + m_down) / 2
    both = np.concatenate([m_up, m_down])
    top = np.concatenate([m_up + 2 * s_up, m_down + 2 * s_down])
    low = np.concatenate([m_up - 2 * s_up, m_down - 2 * s_down])
    return {
        "targets": targets.tolist(), "up": up.tolist(), "down": down.tolist(),
        "means_up": m_up.tolist(), "means_down": m_down.tolist(),
        "s_up": s_up.tolist(), "s_down": s_down.tolist(),
        "reversals": b.tolist(), "repeatabilities": r.tolist(),
        "B": float(abs(b).max()), "mean_B": float(b.mean()), "M": float(np.ptp(mid)),
        "E_up": float(np.ptp(m_up)), "E_down": float(np.ptp(m_down)), "E": float(np.ptp(both)),
        "R_up": float(4 * s_up.max()), "R_down": float(4 * s_down.max()), "R": float(r.max()),
        "A_up": float((m_up + 2 * s_up).max() - (m_up - 2 * s_up).min()),
        "A_down": float((m_down + 2 * s_down).max() - (m_down - 2 * s_down).min()),
        "A": float(top.max() - low.min()),
    }, targets, up, down


def scale(targets, up, down):
    """One slope for both directions, each with its own zero, by numpy.linalg.lstsq."""
    x = np.repeat(targets, 5)
    forward = stats.linregress(x, up.ravel())
    backward = stats.linregress(x, down.ravel())
    zeros, ones = np.zeros_like(x), np.ones_like(x)
    design = np.vstack([np.c_[x, ones, zeros], np.c_[x, zeros, ones]])
    y = np.concatenate([up.ravel(), down.ravel()])
    solved, squares, _, _ = np.linalg.lstsq(design, y, rcond=None)
    free = len(y) - 3
    cov = squares[0] / free * np.linalg.inv(design.T @ design)
    difference = np.array([0, -1, 1])
    t = stats.t.ppf(0.975, free)
    return {
        "forward": [forward.slope, forward.stderr, forward.intercept, forward.intercept_stderr],
        "backward": [backward.slope, backward.stderr, backward.intercept,
                     backward.intercept_stderr],
        "scale": [solved[0], float(np.sqrt(cov[0, 0])), float(t * np.sqrt(cov[0, 0]))],
        "slack": [float(difference @ solved), float(np.sqrt(difference @ cov @ difference))],
    }


def grubbs():
    """Two-sided critical values of Grubbs' test by scipy.stats.t."""
    values = []
    for alpha in (0.05, 0.01):
        for n in (3, 4, 5, 6, 8, 10, 15, 20, 30, 100):
            t = stats.t.isf(alpha / (2 * n), n - 2)
            values.append([alpha, n, (n - 1) / np.sqrt(n) * np.sqrt(t * t / (n - 2 + t * t))])
    return values


def lens():
    """A ruler photographed on levels of a stand, with reading errors, solved by SciPy.

    Apparent distances: the glass of every pane above a level's painted upper face brings it nearer
    by t (1 - 1/n).
    """
    width_mm, columns = 36.0, 6000
    glass = 6 * (1 - 1 / 1.52)
    heights = np.array([1200.0, 950.0, 700.0])
    true_focal, true_pupil, true_heights = 51.38, 1611.2, np.array([1200.0, 946.3, 703.9])
    focus = 1
    lifts = [(0, 0.0), (0, 40.0), (0, 80.0), (0, 120.0), (1, 0.0), (1, 45.0), (1, 90.0),
             (2, 0.0), (2, 60.0)]

    def distance(pupil, of, level, lift):
        return pupil - of[level] - lift - glass * level

    def image(focal, focused):
        return 1 / (1 / focal - 1 / focused)

    pixels = []
    for level, lift in lifts:
        s = distance(true_pupil, true_heights, level, lift)
        v = image(true_focal, distance(true_pupil, true_heights, focus, 0.0))
        camera = np.array([[v * columns / width_mm, 0, 3000], [0, v * columns / width_mm, 2000],
                           [0, 0, 1]])
        ruler = np.array([[-125.0, 17.0, s], [125.0, 17.0, s]])
        seen, _ = cv2.projectPoints(ruler, np.zeros(3), np.zeros(3), camera, None)
        pixels.append(float(seen[1, 0, 0] - seen[0, 0, 0]))
    exact = list(pixels)
    pixels = [p + float(e) for p, e in zip(pixels, rng.normal(0, 0.7, len(pixels)))]

    def errors(at):
        focal, pupil, h1, h2 = at
        of = [heights[0], h1, h2]
        v = image(focal, distance(pupil, of, focus, 0.0))
        return [250.0 * columns / width_mm * v / distance(pupil, of, level, lift) - p
                for (level, lift), p in zip(lifts, pixels)]

    found = optimize.least_squares(errors, [50, 1600, 950, 700], x_scale=[1, 10, 10, 10],
                                   xtol=1e-15, ftol=1e-15, gtol=1e-15)
    free = len(pixels) - 4
    cov = 2 * found.cost / free * np.linalg.inv(found.jac.T @ found.jac)
    return {
        "width_mm": width_mm, "columns": columns, "rows": 4000, "heights": heights.tolist(),
        "start": [50.0, 1600.0], "focus": focus, "length": 250.0,
        "truth": [true_focal, true_pupil, *true_heights[1:].tolist()],
        "lifts": [[level, lift] for level, lift in lifts], "exact": exact, "pixels": pixels,
        "solved": found.x.tolist(), "uncertainty": np.sqrt(np.diag(cov)).tolist(),
        "residuals": [-float(e) for e in found.fun], "scatter": float(np.sqrt(2 * found.cost / free)),
    }


def decay():
    """Swings of a damped mass on a spring, integrated; turning points where the speed is zero."""
    cases = []
    for frequency, damping in ((4.2, 0.012), (7.5, 0.045), (11.0, 0.2)):
        w = 2 * np.pi * frequency
        turn = lambda t, y: y[1]
        run = solve_ivp(lambda t, y: [y[1], -2 * damping * w * y[1] - w * w * y[0]],
                        [0, 5 / frequency], [0.8, 0.0], rtol=1e-11, atol=1e-14, events=turn,
                        max_step=0.02 / frequency)
        times, places = run.t_events[0], run.y_events[0][:, 0]
        keep = times > 1e-6
        cases.append({"frequency": frequency, "damping": damping,
                      "times": times[keep].tolist(), "places": places[keep].tolist()})
    noisy = cases[1]
    places = np.array(noisy["places"]) * (1 + rng.normal(0, 0.02, len(noisy["places"])))
    fit = stats.linregress(np.arange(len(places)), np.log(np.abs(places)))
    return {"cases": cases, "noisy": {
        "times": noisy["times"], "places": places.tolist(),
        "half_decrement": [-fit.slope, fit.stderr]}}


figures, targets, up, down = positioning()
print(json.dumps({
    "libraries": {name: version(name) for name in ("numpy", "scipy", "opencv-python-headless")},
    "positioning": figures,
    "scale": scale(targets, up, down),
    "grubbs": grubbs(),
    "lens": lens(),
    "decay": decay(),
}))
