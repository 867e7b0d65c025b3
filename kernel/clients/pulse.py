"""The pulse evaluation of 10,000 points as one would write it with SciPy.

Prints the median time, the results and the BLAS kernel in use, one a line.
The trace is invented: an exponentially modified Gaussian on a sloping
baseline with noise, made with a fixed seed.
"""
import statistics
import time

import numpy as np
import scipy
from scipy import signal, stats

POINTS = 10_000


def trace():
    """Return times in seconds and the signal."""
    t = np.linspace(0, 1500, POINTS)
    area, mu, sigma, tau = 1000.0, 600.0, 18.0, 9.0
    peak = area * stats.exponnorm.pdf(t, tau / sigma, loc=mu, scale=sigma)
    noise = 0.002 * np.random.default_rng(7).standard_normal(POINTS)
    return t, peak + noise + 0.05 + 1e-5 * t


def evaluate(t, y):
    """Return plates by half height, asymmetry at 10 % and plates from moments."""
    ends = np.r_[0:800, POINTS - 800:POINTS]
    z = y - np.polyval(np.polyfit(t[ends], y[ends], 1), t)
    z = signal.savgol_filter(z, 31, 2)
    peaks, _ = signal.find_peaks(z, height=0.2 * z.max(), distance=200)
    apex = peaks[np.argmax(z[peaks])]
    half = signal.peak_widths(z, [apex], rel_height=0.50)
    tenth = signal.peak_widths(z, [apex], rel_height=0.90)
    twentieth = signal.peak_widths(z, [apex], rel_height=0.95)
    plates = 8 * np.log(2) * (t[apex] / (half[0][0] * (t[1] - t[0]))) ** 2
    asymmetry = (tenth[3][0] - apex) / (apex - tenth[2][0])
    window = slice(int(twentieth[2][0]) - 300, int(twentieth[3][0]) + 300)
    tw, zw = t[window], z[window]
    m0 = np.trapezoid(zw, tw)
    m1 = np.trapezoid(zw * tw, tw) / m0
    m2 = np.trapezoid(zw * (tw - m1) ** 2, tw) / m0
    return plates, asymmetry, m1 ** 2 / m2


def blas():
    """Return the name of the processor kernel that numpy's BLAS chose."""
    try:
        from threadpoolctl import threadpool_info
    except ImportError:
        return "unknown"
    return ",".join(sorted({lib.get("architecture", "unknown") for lib in threadpool_info()})) or "unknown"


def main():
    t, y = trace()
    evaluate(t, y)
    times = []
    for _ in range(200):
        start = time.perf_counter()
        plates, asymmetry, plates_moments = evaluate(t, y)
        times.append(time.perf_counter() - start)
    print(f"seconds {statistics.median(times):.6g}")
    print(f"plates {plates:.1f}")
    print(f"asymmetry {asymmetry:.4f}")
    print(f"plates_moments {plates_moments:.1f}")
    print(f"blas {blas()}")
    print(f"scipy {scipy.__version__}")


if __name__ == "__main__":
    main()
