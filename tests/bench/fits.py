"""A workload of fits.c by numpy, vectorised.
    fits.py WORKLOAD FILE RUNS
Prints, parted by tabs: workload, median seconds, what it came to, version.
Reading the file is not timed."""
import csv
import sys
import time

import numpy as np

work, path, runs = sys.argv[1], sys.argv[2], int(sys.argv[3])
random = np.random.default_rng(1)


def number(cell):
    try:
        return float(cell)
    except ValueError:
        return np.nan


def read():
    with open(path, newline="") as f:
        return list(csv.DictReader(f))


def cells(rows):
    """Columns of the model of log TNC and its outcome."""
    x, y = [], []
    for r in rows:
        tnc = number(r["tnc_e6_per_ml"])
        if not np.isfinite(tnc):
            continue
        size = float(r["syringe_ml"])
        x.append([1, float(r["age_y"]), r["sex"] == "M", float(r["site_no"]),
                  float(r["aliquot_no"]) - 1, np.log(float(r["volume_ml"])),
                  size == 10, size == 20, size == 50])
        y.append(np.log(tnc))
    return np.array(x, float), np.array(y)


def differences(rows):
    """Mean over a case's sites of log TNC, second pull less first."""
    first, sums = {}, {}
    for r in rows:
        place, y = (r["case"], r["site_no"]), number(r["tnc_e6_per_ml"])
        if r["aliquot_no"] == "1":
            first[place] = y
        elif np.isfinite(y) and np.isfinite(first.get(place, np.nan)):
            s = sums.setdefault(r["case"], [0.0, 0])
            s[0] += np.log(y) - np.log(first[place])
            s[1] += 1
    return np.array([s[0] / s[1] for s in sums.values()])


def blocks(draws, n, most):
    size = max(1, most // n)
    return [min(size, draws - i) for i in range(0, draws, size)]


def flips(x, draws=100000):
    x = x - 0.98 * x.mean()
    n, hits, seen = len(x), 0, abs(x.sum())
    for k in blocks(draws, n, 8_000_000):
        raw = np.frombuffer(random.bytes(k * ((n + 7) // 8)), np.uint8)
        w = np.unpackbits(raw.reshape(k, -1), axis=1)[:, :n]
        hits += (abs(x.sum() - 2 * (w.astype(float) @ x)) >= seen).sum()
    return (1 + hits) / (1 + draws)


def bootstrap(x, draws=10000):
    n, out = len(x), []
    for k in blocks(draws, n, 4_000_000):
        pick = random.integers(0, n, (k, n), dtype=np.int32)
        out.append(x[pick].mean(1))
    return np.percentile(np.concatenate(out), 2.5)


def least_squares(data):
    return np.linalg.lstsq(data[0], data[1], rcond=None)[0][4]


rows = read()
make, run = {
    "least-squares": (cells, least_squares),
    "sign-flip-100000": (differences, flips),
    "bootstrap-10000": (differences, bootstrap),
}[work]
data = make(rows)
took = []
for _ in range(runs):
    start = time.perf_counter()
    answer = run(data)
    took.append(time.perf_counter() - start)
print(f"{work}\t{np.median(took):.6f}\t{answer:.9g}\tnumpy {np.__version__}")
