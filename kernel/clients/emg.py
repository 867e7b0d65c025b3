"""The fit of an exponentially modified Gaussian to 10,000 points with SciPy.

Two ways: a model by erfcx with its analytic Jacobian, written with care, and
exponnorm.pdf as one would write it first. Both search from the same start and
return standard errors. Prints the median times and results, one a line.
"""
import statistics
import time

import numpy as np
from scipy import optimize, special, stats

from pulse import trace

START = [900.0, 595.0, 20.0, 5.0]  # area, mu, sigma, tau


def shape(t, mu, sigma, tau):
    """Return the peak of area 1 and the Gaussian in it, each point by the form that is safe there."""
    u = t - mu
    v = u / sigma
    z = (sigma / tau - v) / np.sqrt(2)
    bell = np.exp(-v * v / 2)
    f = np.empty_like(t)
    front = z > 0
    f[front] = bell[front] * special.erfcx(z[front])
    back = ~front
    f[back] = np.exp(sigma * sigma / (2 * tau * tau) - u[back] / tau) * special.erfc(z[back])
    return f / (2 * tau), bell / (sigma * np.sqrt(2 * np.pi))


def model(t, area, mu, sigma, tau):
    return area * shape(t, mu, sigma, tau)[0]


def jacobian(t, area, mu, sigma, tau):
    f, g = shape(t, mu, sigma, tau)
    u = t - mu
    slope = (g - f) / tau
    bend = (-u * g / sigma ** 2 - slope) / tau
    by_tau = (f * u / tau - f + (g - f) * (sigma / tau) ** 2) / tau
    return np.stack([f, -area * slope, area * sigma * bend, area * by_tau], axis=1)


def by_exponnorm(t, area, mu, sigma, tau):
    return area * stats.exponnorm.pdf(t, tau / sigma, loc=mu, scale=sigma)


def timed(fit, times):
    """Return the median seconds of a fit, and what it returns."""
    fit()
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        found = fit()
        seconds.append(time.perf_counter() - start)
    return statistics.median(seconds), found


def main():
    t, y = trace()
    y = y - 0.05 - 1e-5 * t
    seconds, (best, covariance) = timed(lambda: optimize.curve_fit(model, t, y, START, jac=jacobian), 40)
    print(f"seconds_erfcx {seconds:.6g}")
    print(f"tau {best[3]:.4f}")
    print(f"tau_error {np.sqrt(covariance[3, 3]):.2g}")
    seconds, (best, covariance) = timed(lambda: optimize.curve_fit(by_exponnorm, t, y, START), 20)
    print(f"seconds_exponnorm {seconds:.6g}")
    print(f"tau_exponnorm {best[3]:.4f}")


if __name__ == "__main__":
    main()
