"""Writes riccati.json: solutions that the Riccati and Lyapunov solvers are checked against.

Run: python3 tests/data/make_riccati.py > tests/data/riccati.json
Made with the versions stated in the file itself (numpy, scipy, mpmath, python).

Examples: the benchmark collections of Benner, Laub & Mehrmann 1995, SPC 95-22 (continuous, CAREX) and SPC
95-23 (discrete, DAREX), numbers of the examples and their matrices from memory of the collections; the
matrices written to the file are what counts. `x` is SciPy's solution; `exact` the same refined by Newton's
iteration with 60 digits; `scipy_error` the distance of the two, relative to the norm of `exact`: what double
precision leaves on this problem.
"""

import json
import platform
import sys

import mpmath as mp
import numpy as np
import scipy
from scipy.linalg import (
    block_diag,
    solve_continuous_are,
    solve_continuous_lyapunov,
    solve_discrete_are,
    solve_discrete_lyapunov,
)

mp.mp.dps = 60


def m(a):
    return mp.matrix(np.asarray(a, float).tolist())



def solve(a, b):
    """a^-1 b, column by column."""
    out = mp.matrix(b.rows, b.cols)
    for j in range(b.cols):
        out[:, j] = mp.lu_solve(a, b[:, j])
    return out


def lyap(a, q, discrete):
    """P of A'P + P A + Q = 0 or A'P A - P + Q = 0, by the Kronecker form in high precision."""
    n = a.rows
    big = mp.zeros(n * n)
    for i in range(n):
        for j in range(n):
            for k in range(n):
                if discrete:
                    for l in range(n):
                        big[i * n + j, k * n + l] += a[k, i] * a[l, j]
                else:
                    big[i * n + j, k * n + j] += a[k, i]
                    big[i * n + j, i * n + k] += a[k, j]
            if discrete:
                big[i * n + j, i * n + j] -= 1
    rhs = mp.matrix([-q[i, j] for i in range(n) for j in range(n)])
    p = mp.lu_solve(big, rhs)
    return mp.matrix([[p[i * n + j] for j in range(n)] for i in range(n)])


def refined(x, a, b, q, r, s, discrete):
    """Newton-Kleinman from a stabilising x until nothing moves."""
    a, b, q, r, s, x = m(a), m(b), m(q), m(r), m(s), m(x)
    for _ in range(12):
        if discrete:
            k = solve(r + b.T * x * b, b.T * x * a + s.T)
        else:
            k = solve(r, b.T * x + s.T)
        cost = q + k.T * r * k - s * k - k.T * s.T
        new = lyap(a - b * k, cost, discrete)
        new = (new + new.T) / 2
        step = mp.mnorm(new - x, "f") / mp.mnorm(new, "f")
        x = new
        if step < mp.mpf(10) ** -40:
            return x
    raise SystemExit("no convergence in high precision")


def numbers(a):
    return [[float(v) for v in row] for row in np.asarray(a, float)]


def error(x, exact):
    return float(mp.mnorm(m(x) - exact, "f") / mp.mnorm(exact, "f"))


def case(name, a, b, q, r, discrete, s=None):
    a, b, q, r = (np.asarray(v, float) for v in (a, b, q, r))
    cross = np.zeros(b.shape) if s is None else np.asarray(s, float)
    solver = solve_discrete_are if discrete else solve_continuous_are
    x = solver(a, b, q, r, s=None if s is None else cross)
    exact = refined(x, a, b, q, r, cross, discrete)
    out = {
        "name": name,
        "discrete": discrete,
        "a": numbers(a),
        "b": numbers(b),
        "q": numbers(q),
        "r": numbers(r),
        "x": numbers(x),
        "exact": [[float(exact[i, j]) for j in range(exact.cols)] for i in range(exact.rows)],
        "scipy_error": error(x, exact),
    }
    if s is not None:
        out["cross"] = numbers(cross)
    return out


def continuous():
    e = 1e-6
    yield "CAREX 2.2, e 1e-6 (Arnold & Laub 1984)", [[-0.1, 0], [0, -0.02]], [[0.1, 0], [0.001, 0.01]], [
        [100, 1000],
        [1000, 10000],
    ], [[1 + e, 1], [1, 1]]
    for e in (1.0, 1e3, 1e6):
        yield f"CAREX 2.3, e {e:g} (Kenney, Laub & Wette 1989)", [[0, e], [0, 0]], [[0], [1]], np.eye(2), [[1]]
    for e in (1.0, 1e-4, 1e-7):
        yield f"CAREX 2.4, e {e:g} (Bai & Qian 1994)", [[e + 1, 1], [1, e + 1]], np.eye(2), e * e * np.eye(2), np.eye(2)
    v = np.eye(3) - 2 / 3 * np.ones((3, 3))
    for e in (1.0, 1e3, 1e6):
        yield (
            f"CAREX 2.6, e {e:g} (Petkov, Christov & Konstantinov 1987)",
            v @ np.diag([e, 2 * e, 3 * e]) @ v,
            np.eye(3),
            np.eye(3) / e,
            e * np.eye(3),
        )
    for e in (1.0, 1e-2, 1e-4):
        a = [[0, 0.4, 0, 0], [0, 0, 0.345, 0], [0, -0.524 / e, -0.465 / e, 0.262 / e], [0, 0, 0, -1 / e]]
        yield f"CAREX 2.7, e {e:g} (magnetic tape)", a, [[0], [0], [0], [1 / e]], np.diag([1, 0, 1, 0]), [[1]]
    for e in (1.0, 1e-3, 1e-5):
        a = block_diag([[-e, 1], [-1, -e]], [[e, 1], [-1, e]])
        yield f"CAREX 2.8, e {e:g} (Arnold & Laub 1984)", a, np.ones((4, 1)), np.ones((4, 4)), [[1]]
    n = 5  # string of vehicles: speeds and distances
    k = 2 * n - 1
    a, b, q = np.zeros((k, k)), np.zeros((k, n)), np.zeros((k, k))
    for i in range(n):
        a[2 * i, 2 * i] = -1
        b[2 * i, i] = 1
        if i < n - 1:
            a[2 * i + 1, 2 * i] = 1
            a[2 * i + 1, 2 * i + 2] = -1
            q[2 * i + 1, 2 * i + 1] = 10
    yield "CAREX 3.1, 5 vehicles (Athans, Levine & Levis 1966)", a, b, q, np.eye(n)
    for n in (4, 7):  # chain of integrators
        q = np.zeros((n, n))
        q[0, 0] = 1
        yield f"CAREX 4.1, n {n} (Laub 1979)", np.diag(np.ones(n - 1), 1), np.eye(n)[:, -1:], q, [[1]]


def discrete():
    yield "DAREX 1.5 (Ionescu & Weiss 1992)", [[0, 1], [0, 0]], [[0], [1]], [[1, 2], [2, 4]], [[1]]
    a = block_diag([[0.998, 0.067], [-0.067, 0.998]], [[0.998, 0.153], [-0.153, 0.998]])
    b = [[0.0033, 0.02], [0.1, -0.0007], [0.04, 0.0073], [-0.0028, 0.1]]
    q = [[1.87, 0, 0, -0.244], [0, 0.744, 0.205, 0], [0, 0.205, 0.589, 0], [-0.244, 0, 0, 1.048]]
    yield "DAREX 1.6 (satellite, Patnaik et al. 1980)", a, b, q, np.eye(2)
    for r in (1.0, 1e3, 1e6):
        yield f"DAREX 2.1, r {r:g} (Laub 1979)", [[4, 3], [-4.5, -3.5]], [[1], [-1]], [[9, 6], [6, 4]], [[r]]
    for e in (1.0, 1e2, 1e5):
        yield f"DAREX 2.3, e {e:g} (Petkov et al. 1987)", [[0, e], [0, 0]], [[0], [1]], np.eye(2), [[1]]
    v = np.eye(3) - 2 / 3 * np.ones((3, 3))
    for t in (1.0, 1e3, 1e6):  # slow states, dear control: eigenvalues 1 - 1/t crowd at the border
        d = 1 - np.array([1, 2, 3]) / (4 * t)
        yield f"near the unit circle, t {t:g}", v @ np.diag(d) @ v, np.eye(3), np.eye(3) / t, t * np.eye(3)
    n = 8
    yield "DAREX 4.1, n 8 (Pappas, Laub & Sandell 1980)", np.diag(np.ones(n - 1), 1), np.eye(n)[:, -1:], np.eye(n), [
        [1]
    ]


def crossed():
    rng = np.random.default_rng(7)
    for n, k in ((3, 1), (8, 3)):
        a = rng.standard_normal((n, n)) / np.sqrt(n) + 0.3 * np.eye(n)
        b = rng.standard_normal((n, k))
        c, d = rng.standard_normal((n + k, n)), rng.standard_normal((n + k, k))
        yield f"cross term, n {n}", a, b, c.T @ c, d.T @ d, c.T @ d


def lyapunov():
    for n, e in ((4, 1.0), (6, 1e-3), (6, 1e-6)):
        for is_discrete in (False, True):
            # a chain of equal poles at the distance e from the border, far from normal
            a = np.diag(np.full(n, -e)) + np.diag(np.full(n - 1, 0.5 * e), 1)
            if is_discrete:
                a += np.eye(n)
            q = np.diag(np.arange(1.0, n + 1))
            p = solve_discrete_lyapunov(a.T, q) if is_discrete else solve_continuous_lyapunov(a.T, -q)
            exact = lyap(m(a), m(q), is_discrete)
            yield {
                "name": f"chain of {n} poles, {e:g} from the border",
                "discrete": is_discrete,
                "a": numbers(a),
                "q": numbers(q),
                "x": numbers(p),
                "exact": [[float(exact[i, j]) for j in range(n)] for i in range(n)],
                "scipy_error": error(p, exact),
            }


def main():
    out = {
        "made_by": "tests/data/make_riccati.py",
        "versions": {
            "python": platform.python_version(),
            "numpy": np.__version__,
            "scipy": scipy.__version__,
            "mpmath": mp.__version__,
        },
        "riccati": [case(*c, False) for c in continuous()]
        + [case(*c, True) for c in discrete()]
        + [case(name, a, b, q, r, True, s) for name, a, b, q, r, s in crossed()],
        "lyapunov": list(lyapunov()),
    }
    json.dump(out, sys.stdout, indent=1)
    sys.stdout.write("\n")


main()
