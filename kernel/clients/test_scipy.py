"""SciPy and ours measure the same peak of the same export."""
import re

import nbformat
import numpy as np
import pytest
from nbformat.v4 import new_code_cell, new_notebook
from scipy import optimize, signal, stats

from emg import jacobian, model

WINDOW = 31  # points of the smoothing
CELLS = [
    """import (
	"fmt"
	"github.com/evenbed/evenbed/packing"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/record"
	"github.com/evenbed/evenbed/packing/trace"
	"github.com/evenbed/evenbed/packing/units"
)""",
    """export, err := record.Read("column04-pulse.csv")
err""",
    """uv, err := export.Signal("UV")
err""",
    """line, err := uv.BaselineUnder(trace.Baseline{})
err""",
    f"""calm, err := uv.Minus(line).Smoothed({WINDOW})
err""",
    """apex := calm.Apex(0)
fmt.Println("step", calm.Step())
fmt.Println("points", calm.Len())
fmt.Println("level", line.At(0))
fmt.Println("slope", line.Slope)
fmt.Println("apex", apex.X)
fmt.Println("height", apex.Height)""",
    """for _, fraction := range []float64{0.5, 0.1, 0.05} {
	w, err := calm.Width(apex, fraction)
	if err != nil { panic(err) }
	fmt.Println(fmt.Sprint("left", fraction), w.InnerLeft)
	fmt.Println(fmt.Sprint("right", fraction), w.InnerRight)
}""",
    """m, err := calm.Moments(trace.Range{})
fmt.Println("area", m.Area)
fmt.Println("mean", m.Mean)
fmt.Println("variance", m.Variance)
err""",
    f"""test, err := efficiency.Pulse{{
	Column:    packing.Column{{Tag: "column 04", InnerDiameter: 30 * units.Centimetre}},
	BedHeight: 18 * units.Centimetre, Flow: 21.2 * units.LitrePerHour, MeanBead: 90 * units.Micrometre,
	Smoothing: efficiency.Smoothing{{Window: {WINDOW}}},
}}.Evaluate(uv)""",
    """fmt.Println("top", test.Apex.X)
fmt.Println("plates", test.PlatesExact)
fmt.Println("asymmetry", test.Asymmetry)
fmt.Println("symmetry", test.SymmetryFactor)
fmt.Println("from", test.Moments.Range.From)
fmt.Println("to", test.Moments.Range.To)
fmt.Println("moments", test.PlatesMoments)""",
]


def printed(evenbed, folder, cells):
    """Run cells in a folder and return what they print."""
    notebook = new_notebook(cells=[new_code_cell(cell) for cell in cells], metadata={
        "kernelspec": {"name": "evenbed", "display_name": "Go (evenbed)", "language": "go"}})
    nbformat.write(notebook, folder / "measure.ipynb")
    evenbed("run", "--out", folder / "out", folder / "measure.ipynb")
    ran = nbformat.read(folder / "out/measure.ipynb", as_version=4)
    return "".join(output.text for cell in ran.cells for output in cell.outputs if output.output_type == "stream")


@pytest.fixture(scope="module")
def ours(evenbed, root, tmp_path_factory):
    """Return name -> number as a notebook prints them."""
    folder = tmp_path_factory.mktemp("scipy")
    (folder / "column04-pulse.csv").write_bytes((root / "testdata/column04-pulse.csv").read_bytes())
    return {name: float(value) for name, value in re.findall(r"^(\S+) (\S+)$", printed(evenbed, folder, CELLS), re.M)}


@pytest.fixture(scope="module")
def export(root):
    """Return times in seconds and the UV signal, read without our reader."""
    lines = (root / "testdata/column04-pulse.csv").read_text().splitlines()
    head = next(number for number, line in enumerate(lines) if line.startswith("Time (min),"))
    column = next(number for number, name in enumerate(lines[head].split(",")) if name.startswith("UV"))
    table = np.genfromtxt(lines[head + 1:], delimiter=",", usecols=(0, column))
    return table[:, 0] * 60, table[:, 1]


@pytest.fixture(scope="module")
def flat(export):
    """Return the baseline through the first and last twelfth, and the smoothed signal above it."""
    t, y = export
    n = len(t) // 12
    ends = np.r_[0:n, len(t) - n:len(t)]
    slope, level = np.polyfit(t[ends], y[ends], 1)
    return slope, level, signal.savgol_filter(y - (level + slope * t), WINDOW, 2)


def test_reading(ours, export):
    """The reader finds every sample."""
    t, _ = export
    assert ours["points"] == len(t)
    assert ours["step"] == pytest.approx((t[-1] - t[0]) / (len(t) - 1), rel=1e-12)


def test_baseline(ours, flat):
    """Least squares in another library: equal to rounding, which the sums of 500 points amplify."""
    slope, level, _ = flat
    assert ours["level"] == pytest.approx(level, rel=1e-9)
    assert ours["slope"] == pytest.approx(slope, rel=1e-7)


def test_apex(ours, export, flat):
    """scipy.signal.find_peaks finds one peak, at our apex."""
    t, _ = export
    z = flat[2]
    peaks, _ = signal.find_peaks(z, height=0.2 * z.max(), distance=200)
    assert len(peaks) == 1
    assert ours["apex"] == pytest.approx(t[peaks[0]], rel=1e-12)
    assert ours["height"] == pytest.approx(z[peaks[0]], rel=1e-9)


@pytest.mark.parametrize("fraction", [0.5, 0.1, 0.05])
def test_widths(ours, export, flat, fraction):
    """scipy.signal.peak_widths crosses each level where ours does, to 1e-6 of a sample."""
    t, _ = export
    z = flat[2]
    apex = int(np.argmax(z))
    whole = (np.array([z[apex]]), np.array([0]), np.array([len(z) - 1]))  # height above the baseline
    _, level, left, right = signal.peak_widths(z, [apex], rel_height=1 - fraction, prominence_data=whole)
    assert level[0] == pytest.approx(fraction * z[apex], rel=1e-12)
    step = (t[-1] - t[0]) / (len(t) - 1)
    assert ours[f"left{fraction}"] / step == pytest.approx(left[0], abs=1e-6)
    assert ours[f"right{fraction}"] / step == pytest.approx(right[0], abs=1e-6)


def test_moments(ours, export, flat):
    """numpy.trapezoid integrates the whole trace to our moments."""
    t, _ = export
    z = flat[2]
    area = np.trapezoid(z, t)
    mean = np.trapezoid(z * t, t) / area
    assert ours["area"] == pytest.approx(area, rel=1e-9)
    assert ours["mean"] == pytest.approx(mean, rel=1e-9)
    assert ours["variance"] == pytest.approx(np.trapezoid(z * (t - mean) ** 2, t) / area, rel=1e-9)


def test_pulse(ours, export, flat):
    """Plates, asymmetry and symmetry factor from SciPy's crossings and numpy's parabola; to rounding."""
    t, _ = export
    z = flat[2]
    highest = int(np.argmax(z))
    reach = np.arange(-(WINDOW // 4), WINDOW // 4 + 1)  # of the parabola, a quarter of the smoothing
    c, b, a = np.polyfit(reach, z[highest + reach], 2)
    apex, height = highest - b / (2 * c), a - b * b / (4 * c)
    step = (t[-1] - t[0]) / (len(t) - 1)
    assert ours["top"] / step == pytest.approx(apex, abs=1e-6)

    whole = (np.array([z[highest]]), np.array([0]), np.array([len(z) - 1]))
    left, right = {}, {}
    for fraction in (0.5, 0.1, 0.05):
        fall = 1 - fraction * height / z[highest]
        _, _, (left[fraction],), (right[fraction],) = signal.peak_widths(
            z, [highest], rel_height=fall, prominence_data=whole)
    assert ours["plates"] == pytest.approx(8 * np.log(2) * (apex / (right[0.5] - left[0.5])) ** 2, rel=1e-6)
    assert ours["asymmetry"] == pytest.approx((right[0.1] - apex) / (apex - left[0.1]), rel=1e-6)
    assert ours["symmetry"] == pytest.approx((right[0.05] - left[0.05]) / (2 * (apex - left[0.05])), rel=1e-6)


def test_pulse_moments(ours, export, flat):
    """Plates by moments between the same limits; numpy has no part of a sample, so to 0.1 %."""
    t, _ = export
    inside = (t >= ours["from"]) & (t <= ours["to"])
    t, z = t[inside], flat[2][inside]
    area = np.trapezoid(z, t)
    mean = np.trapezoid(z * t, t) / area
    variance = np.trapezoid(z * (t - mean) ** 2, t) / area
    assert ours["moments"] == pytest.approx(mean**2 / variance, rel=1e-3)


# 200 invented traces of one or two exponentially modified Gaussians with noise,
# made with a fixed seed, measured by SciPy and by ours.
TRACES, SAMPLES, EVERY = 200, 800, 0.5  # seconds between two samples
MEASURE_ALL = f"""many, err := record.Read("many.csv")
if err != nil {{ panic(err) }}
for i := 0; i < {TRACES}; i++ {{
	s, err := many.Signal(fmt.Sprint("s", i))
	if err != nil {{ panic(err) }}
	calm, err := s.Smoothed(5 + 2*(i%14))
	if err != nil {{ panic(err) }}
	y := calm.Values()
	fmt.Print(i, " smooth")
	for k := 0; k < len(y); k += 37 {{ fmt.Print(" ", y[k]) }}
	fmt.Println(" ", y[len(y)-1])
	apex := calm.Apex(0)
	fmt.Println(i, "apex", apex.Index, apex.Height)
	for _, fraction := range []float64{{0.5, 0.3, 0.1}} {{
		w, err := calm.Width(apex, fraction)
		if err != nil {{ panic(err) }}
		fmt.Println(i, "width", fraction, w.InnerLeft, w.InnerRight)
	}}
	if pair, err := calm.TwoPeaks(0, 0.05*apex.Height); err == nil {{
		fmt.Println(i, "pair", pair.First.Index, pair.Second.Index, pair.Rise, pair.Valley.Index)
	}}
}}"""


@pytest.fixture(scope="module")
def many():
    """Return times and the 200 signals, as written with 12 digits."""
    random = np.random.default_rng(200)
    t = EVERY * np.arange(SAMPLES)
    signals = np.empty((TRACES, SAMPLES))
    for one in signals:
        one[:] = 0.01 * 10 ** random.uniform(-2, 0) * random.standard_normal(SAMPLES)
        for height in (1, random.uniform(0.1, 0.9))[:1 + random.integers(2)]:
            sigma, ratio = random.uniform(8, 25), random.uniform(0.05, 2)
            place = random.uniform(0.2, 0.6) * t[-1]
            one += height * 20 * stats.exponnorm.pdf(t, ratio, loc=place, scale=sigma)
    return t, np.array([[float(f"{v:.12g}") for v in one] for one in signals])


@pytest.fixture(scope="module")
def measured(evenbed, many, tmp_path_factory):
    """Return (trace, word) -> list of lists of numbers as a notebook prints them."""
    folder = tmp_path_factory.mktemp("many")
    t, signals = many
    names = ",".join(f"s{number} (mAU)" for number in range(TRACES))
    np.savetxt(folder / "many.csv", np.column_stack([t, signals.T]), delimiter=",", fmt="%.12g",
               header=f"Time (s),{names}", comments="")
    text = printed(evenbed, folder, ['''import (
	"fmt"
	"github.com/evenbed/evenbed/packing/record"
)''', MEASURE_ALL])
    found = {}
    for number, word, rest in re.findall(r"^(\d+) ([a-z]+) (.*)$", text, re.M):
        found.setdefault((int(number), word), []).append([float(v) for v in rest.split()])
    return found


@pytest.fixture(scope="module")
def calm(many):
    """Return SciPy's smoothing of every signal, with windows from 5 to 31 points."""
    return [signal.savgol_filter(one, 5 + 2 * (number % 14), 2) for number, one in enumerate(many[1])]


def test_many_smoothed(measured, calm):
    """scipy.signal.savgol_filter, both ends included: 1e-11 of the height, which is near 1."""
    for number, z in enumerate(calm):
        ours = measured[number, "smooth"][0]
        assert ours == pytest.approx([*z[::37], z[-1]], abs=1e-11), number


def test_many_peaks(measured, calm):
    """scipy.signal.find_peaks has our apex as its highest, and our second peak as the one that rises most."""
    pairs = 0
    for number, z in enumerate(calm):
        index, height = measured[number, "apex"][0]
        peaks, found = signal.find_peaks(z, prominence=0)
        assert peaks[np.argmax(z[peaks])] == index, number
        assert height == pytest.approx(z[int(index)], abs=1e-11), number
        # SciPy counts the prominence from the higher of both bases, ours from the
        # one towards the highest peak.
        towards = np.where(peaks > index, found["left_bases"], found["right_bases"])
        others = [(z[p] - z[base], p) for p, base in zip(peaks, towards) if p != index]
        rise, second = max(others, default=(0, -1))
        if (number, "pair") not in measured:
            assert rise < 0.05 * z.max() * (1 + 1e-9), number
            continue
        first, last, ours, valley = measured[number, "pair"][0]
        pairs += 1
        assert {first, last} == {index, second}, number
        assert valley == first + np.argmin(z[int(first):int(last) + 1]), number
        assert ours == pytest.approx(rise, abs=1e-11), number
    assert 30 <= pairs <= 170  # some of each kind, or the test shows little


def test_many_widths(measured, calm):
    """scipy.signal.peak_widths crosses every level where ours does: 1e-11 over a slope of 1e-4 a sample, 1e-7."""
    for number, z in enumerate(calm):
        apex = int(np.argmax(z))
        whole = (np.array([z[apex]]), np.array([0]), np.array([len(z) - 1]))
        for fraction, left, right in measured[number, "width"]:
            _, _, (first,), (last,) = signal.peak_widths(z, [apex], rel_height=1 - fraction, prominence_data=whole)
            assert left / EVERY == pytest.approx(first, abs=1e-7), (number, fraction)
            assert right / EVERY == pytest.approx(last, abs=1e-7), (number, fraction)


PEAKS, POINTS = 200, 300
EMG_CELLS = [
    """import (
	"bufio"
	"fmt"
	"os"
	"strconv"
	"strings"
	"github.com/evenbed/evenbed/packing/efficiency"
	"github.com/evenbed/evenbed/packing/trace"
)""",
    """func numbers(line string) []float64 {
	var v []float64
	for _, s := range strings.Fields(line) {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil { panic(err) }
		v = append(v, x)
	}
	return v
}""",
    """file, err := os.Open("peaks.txt")
err""",
    """lines := bufio.NewScanner(file)
lines.Buffer(nil, 1<<20)
for lines.Scan() {
	x := numbers(lines.Text())
	lines.Scan()
	tr, err := trace.Make("peak", "mAU", trace.Time, x, numbers(lines.Text()))
	if err != nil { panic(err) }
	r, err := efficiency.EMGFit{}.Evaluate(tr)
	if err != nil { panic(err) }
	for _, u := range []efficiency.Uncertain{r.Area, r.Mu, r.Sigma, r.Tau} {
		fmt.Print(u.Value, " ", u.StdErr, " ")
	}
	fmt.Println(r.Fit.Status)
}""",
]


def test_emg(evenbed, tmp_path):
    """curve_fit by erfcx, with Jacobian and ground, finds our peaks: each parameter to 0.1 % of its error, each error to 0.1 %."""
    random = np.random.default_rng(20)
    lines, peaks = [], []
    for _ in range(PEAKS):
        sigma = random.uniform(5, 30)
        truth = random.uniform(50, 2000), random.uniform(400, 600), sigma, sigma * random.uniform(0.4, 3)
        t = np.linspace(truth[1] - 10 * sigma, truth[1] + 10 * sigma + 12 * truth[3], POINTS)
        peak = truth[0] * stats.exponnorm.pdf(t, truth[3] / sigma, loc=truth[1], scale=sigma)
        y = peak + random.uniform(-1, 1) + random.uniform(-1e-3, 1e-3) * t + peak.max() / random.uniform(50, 1000) * random.standard_normal(POINTS)
        lines += [" ".join(map(repr, t.tolist())), " ".join(map(repr, y.tolist()))]
        peaks.append((truth, t, y))
    (tmp_path / "peaks.txt").write_text("\n".join(lines))
    rows = printed(evenbed, tmp_path, EMG_CELLS).splitlines()
    assert len(rows) == PEAKS
    for row, (truth, t, y) in zip(rows, peaks):
        *found, status = row.split()
        assert status == "converged"
        found = np.array(found, dtype=float)
        scale = t.mean()
        best, covariance = optimize.curve_fit(
            lambda t, *p: model(t, *p[:4]) + p[4] + p[5] * (t - scale), t, y, [*truth, 0, 0],
            jac=lambda t, *p: np.c_[jacobian(t, *p[:4]), np.ones_like(t), t - scale],
            ftol=1e-13, xtol=1e-13, gtol=1e-13)
        error = np.sqrt(np.diag(covariance))[:4]
        assert np.all(np.abs(found[0::2] - best[:4]) < 1e-3 * error), (found[0::2], best[:4], error)
        assert found[1::2] == pytest.approx(error, rel=1e-3)
