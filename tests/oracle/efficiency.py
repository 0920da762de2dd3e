"""Sine fits by scipy and plain FFT bins, on the same samples as the tester's own estimators.

usage: efficiency.py FOLDER

FOLDER holds what the test wrote, little-endian:
  sines.f64          windows of mains, one after the other, volts
  sines.json         {"length": samples a window, "rate": samples a second}
  earth.i32          runs of ground against wide, one after the other, codes
  earth.json         {"length", "rate", "volts_per_code", "block", "settling"}
  closed.u8          1 where the probe is closed, for the frames of one run
  current.f64        for every run: frequency, phase, and the probe's RMS current as a complex
                     number against that phase: hertz, radians, amperes, amperes

Prints one JSON object: lists of estimates by method. Nothing here knows the truth.
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares


def sine_fit(x: np.ndarray, rate: float, hertz: float) -> tuple[float, float]:
    """Frequency and RMS by least squares: a cos + b sin + c, frequency free."""
    t = (np.arange(x.size) - (x.size - 1) / 2) / rate
    scale = np.abs(x).max()

    def parts(p):
        angle = 2 * np.pi * p[0] * t
        return np.cos(angle), np.sin(angle)

    def residual(p):
        cos, sin = parts(p)
        return p[1] * cos + p[2] * sin + p[3] - x / scale

    def jacobian(p):
        cos, sin = parts(p)
        slope = 2 * np.pi * t * (p[2] * cos - p[1] * sin)
        return np.column_stack([slope, cos, sin, np.ones_like(t)])

    cos, sin = parts([hertz])
    start, *_ = np.linalg.lstsq(np.column_stack([cos, sin, np.ones_like(t)]), x / scale)
    fit = least_squares(
        residual, [hertz, *start], jac=jacobian, method="lm", xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    return float(fit.x[0]), float(np.hypot(fit.x[1], fit.x[2]) * scale / np.sqrt(2))


def fft_bin(x: np.ndarray, rate: float) -> tuple[float, float]:
    """Frequency by a parabola through the highest bin and its neighbours, RMS of that bin."""
    sizes = np.abs(np.fft.rfft(x))
    k = int(np.argmax(sizes[1:])) + 1
    before, here, after = sizes[k - 1 : k + 2]
    place = k + 0.5 * (before - after) / (before - 2 * here + after)
    return float(place * rate / x.size), float(np.sqrt(2) * here / x.size)


def earth_fit(v: np.ndarray, t: np.ndarray, closed: np.ndarray, known) -> float:
    """Resistance by least squares: a steady background and the known current's drop."""
    hertz, phase, re, im = known
    angle = 2 * np.pi * hertz * t + phase
    cos, sin = np.cos(angle), np.sin(angle)
    current = np.sqrt(2) * (re * cos - im * sin) * closed
    model = np.column_stack([current * 1e3, cos, sin, np.ones_like(t)])
    fit = least_squares(lambda p: model @ p - v, np.zeros(4), jac=lambda p: model, method="lm")
    return float(fit.x[0] * 1e3)


def earth_bins(v: np.ndarray, closed: np.ndarray, rate: float, block: int, known) -> float:
    """Resistance from the FFT bin of two cycles a block: mean of all on less mean of all off."""
    hertz, phase, re, im = known
    blocks = v.reshape(-1, block)
    bins = np.fft.rfft(blocks, axis=1)[:, 2]
    t = np.arange(v.size) / rate
    angle = 2 * np.pi * hertz * t + phase
    # What the whole current, always on, would leave in the same bin.
    current = np.sqrt(2) * (re * np.cos(angle) - im * np.sin(angle))
    drive = np.fft.rfft(current.reshape(-1, block), axis=1)[:, 2]
    ratio = bins / drive
    on = closed.reshape(-1, block)[:, 0] == 1
    return float((ratio[on].mean() - ratio[~on].mean()).real)


def main() -> int:
    if len(sys.argv) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    folder = Path(sys.argv[1])
    about = json.loads((folder / "sines.json").read_text())
    rate = about["rate"]
    windows = np.fromfile(folder / "sines.f64", "<f8").reshape(-1, about["length"])
    bins = [fft_bin(x, rate) for x in windows]
    fits = [sine_fit(x, rate, hertz) for x, (hertz, _) in zip(windows, bins)]

    about = json.loads((folder / "earth.json").read_text())
    rate, block = about["rate"], about["block"]
    runs = np.fromfile(folder / "earth.i32", "<i4").reshape(-1, about["length"])
    known = np.fromfile(folder / "current.f64", "<f8").reshape(-1, 4)
    closed = np.fromfile(folder / "closed.u8", "u1")
    frames = np.arange(closed.size)
    used = frames % block >= about["settling"]
    fitted, binned = [], []
    for codes, current in zip(runs, known):
        v = codes * about["volts_per_code"]
        fitted.append(earth_fit(v[used], frames[used] / rate, closed[used], current))
        binned.append(earth_bins(v, closed, rate, block, current))

    print(
        json.dumps(
            {
                "fit_hertz": [f for f, _ in fits],
                "fit_rms": [a for _, a in fits],
                "bin_hertz": [f for f, _ in bins],
                "bin_rms": [a for _, a in bins],
                "fit_ohms": fitted,
                "bin_ohms": binned,
            }
        )
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
