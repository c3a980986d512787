"""Margins by python-control, kept in values.json beside this file.

    pip install control slycot
    python3 make.py

One-loop margins come from control.stability_margins, disk margins from the structured singular value of
slycot (ab13md, SLICOT) as in control.disk_margins, with the peak over frequency refined by SciPy. Common
gain and phase of several loops come from the eigenvalues of the closed loop, by bisection, which needs no
frequency response at all.
"""

import json
import pathlib
import sys

import control
import numpy as np
import scipy
import slycot
from scipy.optimize import brentq, minimize_scalar
from slycot import ab13md

s = control.tf("s")


def model(sys_):
    sys_ = control.ss(sys_)
    out = {k: np.asarray(getattr(sys_, k.upper())).tolist() for k in "abcd"}
    out["period_s"] = float(sys_.dt) if sys_.dt not in (0, None) else None
    return out


def stable(sys_, gain=1.0):
    a, b, c, d = (np.asarray(m) for m in (sys_.A, sys_.B, sys_.C, sys_.D))
    m = d.shape[0]
    closed = a - gain * b @ np.linalg.solve(np.eye(m) + gain * d, c)
    poles = np.linalg.eigvals(closed)
    if sys_.dt not in (0, None):
        return np.max(np.abs(poles)) - 1.0
    return np.max(poles.real)


def edge(f, inside, outside):
    """Where f leaves the negative, between a stable and an unstable value; None if it stays."""
    grid = np.linspace(inside, outside, 4001)[1:]
    last = inside
    for x in grid:
        if f(x) > 0:
            return brentq(f, last, x, xtol=1e-13, rtol=1e-13)
        last = x
    return None


def one_loop(name, sys_):
    closed = control.feedback(sys_, 1)
    assert stable(control.ss(sys_)) < 0, name
    gm, pm, sm, wpc, wgc, wms = control.stability_margins(sys_, returnall=True)
    m_t = control.linfnorm(closed)[0] if sys_.dt in (0, None) else None
    delays = [(np.radians(p) % (2 * np.pi)) / w for p, w in zip(pm, wgc)]
    return {
        "name": name,
        "l": model(sys_),
        "factors": [[float(w), float(g)] for g, w in zip(gm, wpc)],
        "phases_deg": [[float(w), float(p)] for p, w in zip(pm, wgc)],
        "stability_margin": [float(wms[np.argmin(sm)]), float(min(sm))],
        "mt": None if m_t is None else float(m_t),
        "delay_s": float(min(delays)),
    }


def mu_bound(m):
    n = m.shape[0]
    return ab13md(m, np.ones(n, dtype=int), 2 * np.ones(n, dtype=int))[0]


def balanced(sys_, w):
    z = 1j * w if sys_.dt in (0, None) else np.exp(1j * w * sys_.dt)
    l = sys_(z)
    n = sys_.ninputs
    l = np.asarray(l).reshape(n, n)
    return np.linalg.inv(np.eye(n) + l) - 0.5 * np.eye(n)


def all_loops(name, sys_, low, high):
    sys_ = control.ss(sys_)
    assert stable(sys_) < 0, name
    grid = np.geomspace(low, high, 3000)
    value = np.array([mu_bound(balanced(sys_, w)) for w in grid])
    k = int(np.argmax(value))
    found = minimize_scalar(
        lambda w: -mu_bound(balanced(sys_, w)),
        bounds=(grid[max(k - 1, 0)], grid[min(k + 1, len(grid) - 1)]),
        method="bounded",
        options={"xatol": 1e-10},
    )
    peak = max(-found.fun, value[k])
    dm = control.disk_margins(sys_, grid)
    gain_up = edge(lambda g: stable(sys_, g), 1.0, 40.0)
    gain_down = edge(lambda g: stable(sys_, g), 1.0, 0.0)
    lag = edge(lambda p: stable(sys_, np.exp(-1j * p)), 0.0, np.pi)
    return {
        "name": name,
        "l": model(sys_),
        "range_rad_s": [low, high],
        "alpha": float(1 / peak),
        "alpha_grid": float(dm[0]),
        "gain_db_grid": float(dm[1]),
        "phase_deg_grid": float(dm[2]),
        "gain_up": gain_up,
        "gain_down": gain_down,
        "lag_deg": None if lag is None else float(np.degrees(lag)),
    }


def both(plant, law):
    """The loop broken at the plant's inputs and outputs at once: u = -K y, y = P u."""
    return control.append(law, plant) * control.ss(
        [], [], [],
        np.block([
            [np.zeros((plant.ninputs, plant.ninputs)), np.eye(plant.noutputs)],
            [-np.eye(plant.ninputs), np.zeros((plant.ninputs, plant.noutputs))],
        ]),
    )


def drawn(n, states, seed):
    rng = np.random.default_rng(seed)
    a = rng.normal(size=(states, states)) - 3.5 * np.eye(states)
    b = rng.normal(size=(states, n))
    c = rng.normal(size=(n, states))
    return control.ss(a, b, 0.8 * c, 0.1 * rng.normal(size=(n, n)))


def main():
    oscillator = 1 / (s**2 + 0.04 * s + 1) + 0.3 / (s**2 + 0.05 * s + 4)
    satellite = control.ss([[0, 10], [-10, 0]], np.eye(2), [[1, 10], [-10, 1]], np.zeros((2, 2)))
    law = control.ss([], [], [], [[1, -2], [0, 1]])
    unit = np.diag([1.0, 1e-3, 40.0, 1.0])
    four = drawn(4, 7, 11)
    rng = np.random.default_rng(3)
    matrices = []
    for n in (2, 3, 4, 6, 8, 12):
        m = rng.normal(size=(n, n)) + 1j * rng.normal(size=(n, n))
        d = np.diag(10.0 ** rng.uniform(-2, 2, size=n))
        m = d @ m @ np.linalg.inv(d)
        matrices.append({"re": m.real.tolist(), "im": m.imag.tolist(), "upper": float(mu_bound(m))})
    out = {
        "made_with": {
            "python": sys.version.split()[0],
            "control": control.__version__,
            "slycot": slycot.__version__,
            "numpy": np.__version__,
            "scipy": scipy.__version__,
        },
        "one": [
            one_loop("type one, third order", 10 / (s * (s + 1) * (s + 5))),
            one_loop("conditionally stable", 60 * (s + 2) ** 2 / (s**3 * (s + 12))),
            one_loop("unstable plant", 30 / ((s - 1) * (s + 10))),
            one_loop("two resonances", oscillator * 2 * (s + 0.6) / (0.02 * s + 1) / (0.1 * s + 1)),
            one_loop("sampled third order", control.c2d(10 / (s * (s + 1) * (s + 5)), 0.1)),
            one_loop("sampled unstable plant", control.c2d(control.ss(30 / ((s - 1) * (s + 10))), 0.05)),
        ],
        "all": [
            all_loops("spinning body, outputs", satellite * law, 0.01, 1e3),
            all_loops("spinning body, inputs", law * satellite, 0.01, 1e3),
            all_loops("spinning body, both", both(satellite, law), 0.01, 1e3),
            all_loops("drawn, two loops", drawn(2, 5, 5), 0.01, 1e3),
            all_loops("drawn, four loops", four, 0.01, 1e3),
            all_loops(
                "drawn, four loops in other units",
                control.ss([], [], [], unit) * four * control.ss([], [], [], np.linalg.inv(unit)),
                0.01,
                1e3,
            ),
            all_loops("drawn, four loops sampled", control.c2d(four, 0.05), 0.01, np.pi / 0.05),
            all_loops("nearly unstable", control.c2d(drawn(4, 7, 12), 0.1), 0.01, np.pi / 0.1),
        ],
        "matrices": matrices,
    }
    text = json.dumps(out, indent=1)
    pathlib.Path(__file__).with_name("values.json").write_text(text + "\n")


main()
