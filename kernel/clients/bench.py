"""Benchmarks of `make bench`: evenbed beside what one would run instead.

Kernels are started by the same means and spoken to by the same client, in
turn, in one run. Only the ratios travel to other machines. A missed goal is
shown and is no failure.
"""
import json
import os
import pathlib
import platform
import random
import re
import statistics
import subprocess
import sys
import tempfile
import time

import beds
from speaker import Kernel

ROOT = pathlib.Path(__file__).resolve().parents[2]
GO = {**os.environ, "CGO_ENABLED": "0"}
STARTS = 15
TRIPS = 200
INTERRUPTS = 200
PAIRS = 7  # of runs that are compared, one behind the other
TURNS, READS = 3, 4  # of each reader of tables; the first read of each turn is not counted
MEGABYTE = 26_000  # rows of a table


def kernels():
    """Return name -> (command, environment) of the kernels to compare."""
    stock = ROOT / "build" / "stock-gophernotes"
    subprocess.run(["go", "build", "-trimpath", "-o", stock, "github.com/gopherdata/gophernotes"],
                   cwd=ROOT, env=GO, check=True)
    # Stock gophernotes dies at its start where it finds a Go toolchain.
    hidden = {**os.environ, "GOROOT": "/nonexistent", "PATH": "/nonexistent"}
    return {
        "evenbed": ([str(ROOT / "bin" / "evenbed"), "kernel", "{file}"], None),
        "ipykernel": ([sys.executable, "-m", "ipykernel_launcher", "-f", "{file}"], None),
        "gophernotes": ([str(stock), "{file}"], hidden),
    }


def starts(peers):
    """Return name -> seconds from process start to the first kernel_info_reply."""
    times = {name: [] for name in peers}
    for turn in range(STARTS + 1):
        for name, (command, env) in peers.items():
            with Kernel(command, env) as kernel:
                if turn > 0:  # the first start only warms the file cache
                    times[name].append(kernel.start_seconds)
    return times


def trips(peers):
    """Return name -> seconds from sending `1+1` to having its reply and its result."""
    times = {name: [] for name in peers}
    running = {name: Kernel(command, env) for name, (command, env) in peers.items()}
    try:
        for kernel in running.values():
            for _ in range(50):
                kernel.execute("1+1")
        order, shuffler = list(running.items()), random.Random(5)
        for _ in range(TRIPS // 20):
            shuffler.shuffle(order)
            for name, kernel in order:
                time.sleep(0.1)  # what the kernel before does after its last reply is not this one's burden
                for _ in range(20):
                    start = time.perf_counter()
                    reply, outputs = kernel.execute("1+1")
                    times[name].append(time.perf_counter() - start)
                    values = [m["content"]["data"]["text/plain"] for m in outputs if m["msg_type"] == "execute_result"]
                    if reply["content"]["status"] != "ok" or values != ["2"]:
                        raise RuntimeError(f"{name} says that 1+1 is {values}")
    finally:
        for kernel in running.values():
            kernel.close()
    return times


# The same work in the language of each kernel.
GO_OUTPUT = 'import "strings"\nimport "fmt"\nline := strings.Repeat("x", 99)', "for i := 0; i < 100000; i++ {\n\tfmt.Println(line)\n}"
OUTPUT = {"evenbed": GO_OUTPUT, "gophernotes": GO_OUTPUT, "ipykernel": ('line = "x" * 99', "for i in range(100000):\n    print(line)")}
GO_NAMES = 'import "strings"', "strings.ToUpperS"
NAMES = {"evenbed": GO_NAMES, "gophernotes": GO_NAMES, "ipykernel": ("import math", "math.isfin")}


def output(peers):
    """Return name -> seconds of a cell that prints 10 MB in 100,000 lines, and name -> what came of it."""
    times, received = {name: [] for name in peers}, {}
    for _ in range(TURNS):
        for name, (command, env) in peers.items():
            with Kernel(command, env) as kernel:
                first, second = OUTPUT[name]
                kernel.execute(first)
                start = time.perf_counter()
                reply, outputs = kernel.execute(second)
                times[name].append(time.perf_counter() - start)
                if reply["content"]["status"] != "ok":
                    raise RuntimeError(f"{name} printed and failed: {reply['content']}")
                streams = [m["content"]["text"] for m in outputs if m["msg_type"] == "stream"]
                received[name] = len(streams), sum(map(len, streams))
    return times, received


def completions(peers):
    """Return name -> seconds from asking for a completion to having it."""
    times = {name: [] for name in peers}
    for _ in range(TURNS):
        for name, (command, env) in peers.items():
            with Kernel(command, env) as kernel:
                first, asked = NAMES[name]
                kernel.execute(first)
                for number in range(60):
                    start = time.perf_counter()
                    msg_id = kernel.client.complete(asked)
                    found = kernel.reply(msg_id)["content"]["matches"]
                    if number >= 10:
                        times[name].append(time.perf_counter() - start)
                    kernel.outputs(msg_id)
                    if len(found) != 1:
                        raise RuntimeError(f"{name} completes {asked} to {found}")
    return times


def memory(peers):
    """Return name -> bytes of memory of a kernel and its children, at rest and after 10,000 cells."""
    found = {}
    for name, (command, env) in peers.items():
        with Kernel(command, env) as kernel:
            kernel.execute("1+1")
            time.sleep(0.5)  # at rest is what stays, not what a start or a cell needs for a moment
            rest = kernel.memory()
            for number in range(10_000):
                kernel.execute(f"{number}+1")
            time.sleep(0.5)
            found[name] = rest, kernel.memory()
    return found


def interrupts(command, env):
    """Return the seconds from an interrupt request to the end of a busy cell."""
    times = []
    moments = random.Random(4)
    with Kernel(command, env) as kernel:
        kernel.execute("kept := 0")
        for number in range(1, INTERRUPTS + 1):
            msg_id = kernel.client.execute("kept++\nfor n := 0; ; n++ {\n}")
            time.sleep(moments.uniform(0.005, 0.05))
            start = time.perf_counter()
            kernel.interrupt()
            reply = kernel.reply(msg_id)
            times.append(time.perf_counter() - start)
            kernel.outputs(msg_id)
            if reply["content"]["status"] != "error":
                raise RuntimeError(f"an endless cell ended with {reply['content']}")
        _, outputs = kernel.execute("kept")
        values = [m["content"]["data"]["text/plain"] for m in outputs if m["msg_type"] == "execute_result"]
    return times, values == [str(INTERRUPTS)]


def scipy_peer(script):
    """Return what one of our scripts with SciPy prints, run in its own process, as name -> value."""
    # These two make OpenBLAS slower than it would be on a user's machine.
    env = {k: v for k, v in os.environ.items() if k not in ("OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE")}
    text = subprocess.run([sys.executable, pathlib.Path(__file__).with_name(script)],
                          env=env, check=True, capture_output=True, text=True).stdout
    return dict(re.findall(r"^(\S+) (\S+)$", text, re.M))


def go_benchmarks(bench, package, count):
    """Return benchmark name -> seconds of the benchmarks of a package whose names hold a text."""
    run = subprocess.run(["go", "test", "-run", "^$", "-bench", bench, "-count", str(count), f"./packing/{package}"],
                         cwd=ROOT, env=GO, capture_output=True, text=True)
    found = {}
    for name, ns in re.findall(r"^Benchmark(\S+?)(?:-\d+)?\s+\d+\s+([\d.]+) ns/op", run.stdout, re.M):
        found.setdefault(name, []).append(float(ns) * 1e-9)
    if run.returncode != 0 or not found:
        raise RuntimeError(f"no benchmark {bench} ran:\n{run.stdout}{run.stderr}")
    return {name: statistics.median(ns) for name, ns in found.items()}


def beside(bench, script):
    """Run benchmarks of package efficiency and a script with SciPy one behind the other.

    Return what gives, for a benchmark and a value of the script, the seconds of both in the
    turn whose ratio is the median: the speed of a machine changes.
    """
    pairs = [(go_benchmarks(bench, "efficiency", 1), scipy_peer(script)) for _ in range(PAIRS)]

    def median(name, key):
        both = sorted(((ours[name], float(theirs[key])) for ours, theirs in pairs), key=lambda b: b[1] / b[0])
        return both[PAIRS // 2]
    return median, pairs[0]


def many_go():
    """Return (benchmark, processors) -> seconds of each turn, and peak heap, of many traces on one processor and on two."""
    program = ROOT / "build" / "efficiency.test"
    subprocess.run(["go", "test", "-c", "-o", program, "./packing/efficiency"], cwd=ROOT, env=GO, check=True)
    seconds, heap = {}, {}
    for _ in range(PAIRS):
        for processors in (1, 2):
            text = subprocess.run([program, "-test.run", "^$", "-test.bench", "ManyTraces|Arithmetic", "-test.benchtime", "2x"],
                                  cwd=ROOT / "packing" / "efficiency", env={**os.environ, "GOMAXPROCS": str(processors)}, check=True, capture_output=True, text=True).stdout
            found = re.findall(r"^Benchmark([\w/]+)(?:-\d+)?\s+\d+\s+([\d.]+) ns/op(?:\s+([\d.]+) peak-MB)?", text, re.M)
            if {name for name, _, _ in found} != {"ManyTraces/1000", "ManyTraces/10000", "ManyTraces/10000_made_before", "Arithmetic"}:
                raise RuntimeError(f"the benchmarks of many traces gave:\n{text}")
            for name, ns, peak in found:
                key = name, processors
                seconds.setdefault(key, []).append(float(ns) * 1e-9)
                heap[key] = max(heap.get(key, 0), float(peak or 0) * 1e6)
    return seconds, heap


def lines(command, *arguments):
    """Run a program and return the JSON that it prints."""
    done = subprocess.run([*command, *map(str, arguments)], check=True, capture_output=True, text=True)
    return json.loads(done.stdout or "null")


def tables(folder):
    """Return name -> seconds of reading a million rows, in turn, and name -> its peak memory."""
    ours = [ROOT / "build" / "table"]
    subprocess.run(["go", "build", "-trimpath", "-o", ours[0], "./kernel/clients/table"], cwd=ROOT, env=GO, check=True)
    plain, twin = folder / "plain.csv", folder / "twin.csv"
    lines(ours, "make", 1_000_000, plain)
    lines(ours, "twin", 1_000_000, twin)
    theirs = [sys.executable, pathlib.Path(__file__).with_name("table.py")]
    readers = {
        "evenbed": lambda times: lines(ours, "read", times, plain),
        "twin": lambda times: lines(ours, "read", times, twin),
        "pandas": lambda times: lines(theirs, "pandas", times, plain),
        "pyarrow": lambda times: lines(theirs, "pyarrow", times, plain),
    }
    seconds = {name: [] for name in readers}
    for _ in range(TURNS):
        for name, read in readers.items():
            seconds[name] += read(READS)["seconds"][1:]
    once = {name: read(1) for name, read in readers.items()}
    for name, found in once.items():
        if found["rows"] != 1_000_000:
            raise RuntimeError(f"{name} reads {found['rows']} rows")
    return {name: statistics.median(t) for name, t in seconds.items()}, once


def growth(folder):
    """Return rows of a table: how time and memory grow with the size of a file."""
    ours = [ROOT / "build" / "table"]
    rows = [("file", "evenbed reads", "parsed", "peak heap", "other memory than mapped", "mapped")]
    for size in (1, 10, 100, 1000):
        if size == 1000 and os.environ.get("BENCH_LARGE") != "1":
            rows.append((f"{size} MB", "with BENCH_LARGE=1", "", "", "", ""))
            continue
        file = folder / "growing.csv"
        lines(ours, "make", size * MEGABYTE, file)
        found = lines(ours, "read", 1, file)
        speed = file.stat().st_size / 1e6 / found["seconds"][0]
        rows.append((f"{file.stat().st_size / 1e6:.3g} MB", f"{speed:.3g} MB/s", mb(found["data"]),
                     f"{mb(found['heap'])}, {found['heap'] / found['data']:.2f} times the parsed",
                     mb(found["resident"]), mb(found["mapped"])))
    return rows


def mb(size):
    return f"{size / 1e6:.3g} MB"


def ms(seconds):
    return f"{seconds * 1e3:.3g} ms"


def table(rows):
    """Print rows of text in columns."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for number, row in enumerate(rows):
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths)).rstrip())
        if number == 0:
            print("  ".join("-" * width for width in widths))


def main():
    peers = kernels()
    rows = [("work", "evenbed", "peer", "its time", "evenbed is", "goal")]

    def compare(work, own, peer, other, goal="", met=True):
        verdict = f"{goal}: {'met' if met else 'MISSED'}" if goal else ""
        rows.append((work, ms(own), peer, ms(other), f"{other / own:.3g} times as fast", verdict))

    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}", flush=True)
    print("start of each kernel, in turn ...", flush=True)
    start = {name: statistics.median(t) for name, t in starts(peers).items()}
    compare("start to kernel_info_reply", start["evenbed"], "ipykernel", start["ipykernel"],
            "8 times", start["ipykernel"] >= 8 * start["evenbed"])
    compare("start to kernel_info_reply", start["evenbed"], "gophernotes", start["gophernotes"])

    print("round trip of 1+1, in turn ...", flush=True)
    trip = {name: statistics.median(t) for name, t in trips(peers).items()}
    compare("1+1 round trip, median", trip["evenbed"], "ipykernel", trip["ipykernel"],
            "4 times", trip["ipykernel"] >= 4 * trip["evenbed"])
    compare("1+1 round trip, median", trip["evenbed"], "gophernotes", trip["gophernotes"],
            "within 10 %", trip["evenbed"] <= 1.1 * trip["gophernotes"])

    print("10 MB of output and completion, in turn ...", flush=True)
    printed, received = output(peers)
    printed = {name: statistics.median(t) for name, t in printed.items()}
    completed = {name: statistics.median(t) for name, t in completions(peers).items()}
    for name in ("ipykernel", "gophernotes"):
        compare("10 MB of output in 100,000 lines", printed["evenbed"], name, printed[name])
    for name in ("ipykernel", "gophernotes"):
        compare("completion, median", completed["evenbed"], name, completed[name])

    print("memory at rest and after 10,000 cells ...", flush=True)
    used = memory(peers)
    for at, when in enumerate(("at rest", "after 10,000 cells")):
        for name in ("ipykernel", "gophernotes"):
            for measure in ("pss", "uss"):
                own, other = used["evenbed"][at][measure], used[name][at][measure]
                goal = f"below: {'met' if own < other else 'MISSED'}" if (name, measure) == ("ipykernel", "pss") else ""
                what = "memory of all processes (PSS)" if measure == "pss" else "the same without what is shared (USS)"
                rows.append((f"{what}, {when}", mb(own), name, mb(other), f"{own / other:.2f} times as large", goal))

    print("pulse evaluation of 10,000 points, in turn ...", flush=True)
    median, (names, peer) = beside("Pulse10k", "pulse.py")
    for name in names:
        seconds, theirs = median(name, "seconds")
        scipy = f"SciPy {peer['scipy']}"
        if name.endswith("PeakOnly"):  # less work than the peer's
            compare("pulse, smoothed near the peak only", seconds, scipy, theirs, "goal of 20 times", theirs >= 20 * seconds)
        else:
            compare("pulse, 10,000 points", seconds, scipy, theirs, "7 times", theirs >= 7 * seconds)

    print("fit of an exponentially modified Gaussian to 10,000 points, in turn ...", flush=True)
    median, (names, emg) = beside("EMG10k", "emg.py")
    for name in names:
        if name.endswith("Ground"):  # more work than the peers', so it meets no goal
            seconds, theirs = median(name, "seconds_erfcx")
            compare("the same, finding the baseline, too", seconds, "curve_fit, erfcx, Jacobian", theirs)
            continue
        for peer_name, key in (("curve_fit, erfcx, Jacobian", "seconds_erfcx"), ("curve_fit, exponnorm.pdf", "seconds_exponnorm")):
            seconds, theirs = median(name, key)
            compare("EMG fit with errors, 10,000 points", seconds, peer_name, theirs, "4 times", theirs >= 4 * seconds)

    print("a compressible bed ...", flush=True)
    solved = scipy_peer("beds.py")
    ours, = beds.ask([dict(beds.BED, kind="time", velocity=300 / 360000)])
    own, theirs = ours["seconds"], float(solved["seconds"])
    compare("compressible bed, one solution", own, f"SciPy {solved['scipy']}, solve_ivp", theirs, "30 times", theirs >= 30 * own)

    print("the parameters of a compressible bed ...", flush=True)
    for name, seconds in go_benchmarks("Estimation", "bed", 5).items():
        columns = name.rsplit("/", 1)[-1]
        rows.append((f"three laws estimated from the curve of {columns} column{'s' if columns == 'two' else ''}", ms(seconds), "", "", "",
                     f"50 ms: {'met' if seconds < 0.05 else 'MISSED'}"))

    print("10,000 traces of 5,000 points on one processor and on two, in turn ...", flush=True)
    seconds, heap = many_go()

    def gain(name):  # of neighbours, since the speed of a machine changes
        return statistics.median(one / two for one, two in zip(seconds[name, 1], seconds[name, 2]))

    enough = gain("Arithmetic") >= 1.85  # else others are at work on this machine, or it has one processor
    for work, name in (("10,000 traces of 5,000 points, two processors", "ManyTraces/10000_made_before"),
                       ("the same, each trace made anew", "ManyTraces/10000"), ("arithmetic alone, two processors", "Arithmetic")):
        verdict = ""
        if name != "Arithmetic":
            verdict = f"1.8 times: {'met' if gain(name) >= 1.8 else 'MISSED'}" if enough else "not judged: arithmetic gains too little"
        one, two = (statistics.median(seconds[name, n]) for n in (1, 2))
        rows.append((work, ms(two), "one processor", ms(one), f"{gain(name):.3g} times as fast, median of pairs", verdict))
    few, many = (max(heap[f"ManyTraces/{n}", p] for p in (1, 2)) for n in (1000, 10000))
    rows.append(("10,000 traces, peak heap", mb(many), "of 1,000 traces", mb(few), f"{many / few:.3g} times as large",
                 f"a tenth of the 800 MB of all: {'met' if many <= 80e6 else 'MISSED'}"))

    print("tables of a million rows, in turn ...", flush=True)
    with tempfile.TemporaryDirectory(prefix="evenbed-bench-") as folder:
        read, once = tables(pathlib.Path(folder))
        grown = growth(pathlib.Path(folder))
    own = read["evenbed"]
    compare("CSV, a million rows", own, "pandas' C engine", read["pandas"], "4 times", read["pandas"] >= 4 * own)
    compare("CSV, a million rows", own, "pyarrow.csv", read["pyarrow"], "not slower", read["pyarrow"] >= own)
    compare("its twin in UTF-16, decimal comma", read["twin"], "the plain file", own,
            "at most 1.5 times slower", read["twin"] <= 1.5 * own)
    heap, data = once["evenbed"]["heap"], once["evenbed"]["data"]
    rows.append(("CSV, a million rows, peak heap", mb(heap), "the parsed data", mb(data), f"{heap / data:.3g} times as large",
                 f"at most 1.5 times: {'met' if heap <= 1.5 * data else 'MISSED'}"))

    print("interrupts at random moments ...", flush=True)
    latency, kept = interrupts(*peers["evenbed"])
    p99 = statistics.quantiles(latency, n=100)[98]
    rows.append((f"interrupt, p99 of {INTERRUPTS}", ms(p99), "", "", f"median {ms(statistics.median(latency))}",
                 f"200 ms: {'met' if p99 < 0.2 else 'MISSED'}"))
    print()
    table(rows)
    print()
    table(grown)
    print("\nPeak memory of one reading of a million rows, beside mapped files: "
          f"evenbed {mb(once['evenbed']['resident'])}, pandas {mb(once['pandas']['resident'])}, "
          f"pyarrow {mb(once['pyarrow']['resident'])}.")
    print(f"\nSciPy found {peer['plates']} plates, asymmetry {peer['asymmetry']}, "
          f"{peer['plates_moments']} plates from moments; its BLAS kernel: {peer['blas']}.")
    print(f"SciPy fitted τ = {emg['tau']} s ± {emg['tau_error']} s to the peak, {emg['tau_exponnorm']} s by exponnorm; it was made with 9 s.")
    print("Of 10 MB of output the client got " +
          ", ".join(f"{mb(size)} in {count} messages from {name}" for name, (count, size) in received.items()) + ".")
    print(f"After {INTERRUPTS} interrupts the state was {'kept' if kept else 'LOST'}.")
    print("Times are of this machine and this run; only the ratios travel.")


if __name__ == "__main__":
    main()
