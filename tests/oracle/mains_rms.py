"""RMS, fundamental and mean of mains cycles, computed with numpy alone.

Reads a CSV file of one cycle a row (volts) and prints one JSON list a row:
[true RMS, RMS of the fundamental, mean]. A row is taken as periodic, so the discrete Fourier
transform of one row is exact and needs no window.
"""

import json
import sys

import numpy as np


def main() -> int:
    if len(sys.argv) != 2:
        print("usage: mains_rms.py CYCLES.csv", file=sys.stderr)
        return 2
    cycles = np.loadtxt(sys.argv[1], delimiter=",", ndmin=2)
    samples = cycles.shape[1]
    rms = np.sqrt(np.mean(cycles**2, axis=1))
    fundamental = np.abs(np.fft.rfft(cycles, axis=1)[:, 1]) * np.sqrt(2.0) / samples
    mean = np.mean(cycles, axis=1)
    for row in zip(rms, fundamental, mean):
        print(json.dumps([float(value) for value in row]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
