"""Reads a CSV with pandas' C engine or with pyarrow, some times.

table.py pandas|pyarrow TIMES FILE prints times and peak memory as JSON.
"""
import json
import resource
import sys
import time


def main():
    name, times, file = sys.argv[1], int(sys.argv[2]), sys.argv[3]
    if name == "pandas":
        import pandas

        def read():
            return pandas.read_csv(file, engine="c")
    else:
        import pyarrow.csv

        def read():
            return pyarrow.csv.read_csv(file)

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        table = read()
        seconds.append(time.perf_counter() - start)
        rows = len(table)
        del table
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps({"seconds": seconds, "rows": rows, "resident": (after - before) << 10}))


if __name__ == "__main__":
    main()
