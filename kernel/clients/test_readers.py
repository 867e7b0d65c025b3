"""Other libraries and ours read the same files to the same numbers, bit by bit.

Ours come from the program in readers/, which tells every number in hexadecimal.
pandas rounds correctly without being asked since 3.1, where float_precision has
no effect. What a library cannot read, or reads as something else, is listed with what it
does instead.
"""
import base64
import datetime
import json
import os
import random
import struct
import subprocess
import xml.etree.ElementTree as ET

import netCDF4
import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
import pytest
from scipy.io import netcdf_file

TESTDATA = "testdata/"
RECORD = "packing/record/testdata/"
TEXT = "packing/record/internal/text/testdata/"
NETCDF = "packing/record/internal/netcdf/testdata/"
SHEET = "packing/record/internal/sheet/testdata/"
COLUMNAR = "packing/record/internal/columnar/testdata/"
ANIML = "packing/record/internal/animl/testdata/"

KEEP_ROWS = {"Clock": 1}  # record.KeepRows: as the others do, which look at no clock
SEMICOLON = {"sep": ";", "decimal": ","}


def seconds(text):
    """Return elapsed times in seconds."""
    return pd.to_timedelta(text).dt.total_seconds()


def moments(text, **how):
    """Return moments in seconds after the first."""
    t = pd.to_datetime(text, **how)
    return (t - t.iloc[0]).dt.total_seconds()


# file: options for pandas. "cells" names the positions of the columns of numbers
# where not all are; "times" makes numbers of a first column of words; "ours" are
# options for our reader, which needs none elsewhere.
PANDAS = {
    TESTDATA + "column04-pulse.csv": {"skiprows": "Time (min)"},
    TESTDATA + "column04-curve.csv": {"skiprows": "Velocity (cm/h)"},
    TESTDATA + "export-decimal-comma.csv": {"skiprows": "Elapsed", "thousands": ".", **SEMICOLON},
    TESTDATA + "export-paired.csv": {"skiprows": "Time"},
    TESTDATA + "export-remarks.csv": {"skiprows": "min,L/h", "nrows": 100, "cells": [0, 1, 2, 3]},
    TESTDATA + "export-restarted.csv": {"skiprows": "Elapsed", "times": seconds, "ours": KEEP_ROWS},
    TESTDATA + "export-utf16.txt": {"skiprows": "Time (min)", "sep": "\t", "encoding": "utf-16"},
    RECORD + "empty_cells.csv": {},
    RECORD + "header_narrow.csv": {"header": None, "skiprows": 1},
    RECORD + "html_in_names.csv": {"skiprows": 1},
    RECORD + "latin.csv": {"encoding": "windows-1252"},
    RECORD + "no_header.csv": {"sep": ";", "header": None},
    RECORD + "odd_names_trailing.csv": {"cells": [0, 1, 2, 3, 4], "index_col": False},
    RECORD + "quoted_decimal_comma.csv": {"decimal": ","},
    RECORD + "semicolon_comma_bom.csv": SEMICOLON,
    RECORD + "tab_units_row.txt": {"skiprows": 4, "sep": "\t"},
    RECORD + "utf16.csv": {"sep": "\t", "decimal": ",", "encoding": "utf-16"},
    RECORD + "bad_backwards.csv": {"ours": KEEP_ROWS},
    TEXT + "bars.txt": {"sep": "|"},
    TEXT + "blanks.txt": {"sep": r"\s+"},
    TEXT + "clock_long.csv": {"times": seconds},
    TEXT + "comma_in_brackets.csv": SEMICOLON,
    TEXT + "comma_tab.txt": {"sep": "\t", "decimal": ","},
    TEXT + "comments.csv": {"comment": "#", "header": None},
    TEXT + "date_iso.csv": {"times": lambda t: moments(t, format="ISO8601", utc=True), "ours": KEEP_ROWS},
    TEXT + "date_month_first.csv": {"times": lambda t: moments(t, format="%m/%d/%y %I:%M %p")},
    TEXT + "date_points.csv": {"times": lambda t: moments(t.str.replace(",", "."), format="%d.%m.%Y %H:%M:%S.%f"), **SEMICOLON},
    TEXT + "date_words.csv": {"times": lambda t: moments(t, format="%d-%b-%Y %H:%M:%S")},
    TEXT + "events.csv": {"cells": [0, 1]},
    TEXT + "events_late.csv": {"cells": [0, 1]},
    TEXT + "footer.csv": {"nrows": 2},
    TEXT + "group_names.csv": {"skiprows": 1},
    TEXT + "hour_twice.csv": {"times": moments, "ours": KEEP_ROWS},
    TEXT + "leading_separator.csv": {"cells": [1, 2]},
    TEXT + "mark_before_quote.csv": {},
    TEXT + "missing_markers.csv": {"nrows": 5, "na_values": ["--", "n.a.", "*****", "<LOQ", ">max", "<0.5", "No Data Available"],
                                   "ours": {"LastLine": 6}},
    TEXT + "numbers_for_names.csv": {},
    TEXT + "one_column.csv": {},
    TEXT + "one_row.csv": {},
    TEXT + "paired_ragged.txt": {"skiprows": 1, "sep": "\t"},
    TEXT + "plain.csv": {},
    TEXT + "quotes.csv": {"cells": [0, 1]},
    TEXT + "same_names.csv": {},
    TEXT + "separator_said.csv": {"skiprows": 1, **SEMICOLON},
    TEXT + "step_first.csv": {"cells": [1, 2]},
    TEXT + "thousands_comma.txt": {"thousands": ",", "sep": "\t"},
    TEXT + "thousands_point.csv": {"thousands": ".", **SEMICOLON},
    TEXT + "trailing_separators.csv": {"index_col": False},
    TEXT + "units_everywhere.csv": {},
    TEXT + "units_row_and_processing.csv": {"skiprows": 4, "header": None},
    TEXT + "windows1252.csv": {"cells": [0, 1], "encoding": "windows-1252", **SEMICOLON},
}

# file: options for pandas, what it does without an error, and the column of
# words that it leaves where we read numbers; or the error.
NOT_PANDAS = {
    TEXT + "number_forms.csv": ({}, "Value", "a minus sign that is not a hyphen"),
    TEXT + "thousands_apostrophe.csv": ({"thousands": "'", **SEMICOLON}, "Counts", "two kinds of apostrophe"),
    TEXT + "thousands_blank.csv": ({"thousands": " ", **SEMICOLON}, "Counts", "two kinds of blank"),
    TEXT + "mixed_line_ends.csv": ({}, "UV (mAU)", "an end-of-file character"),
    TEXT + "unit_in_cells.csv": (SEMICOLON, "Signal", "a unit in each cell"),
    TEXT + "header_again.csv": ({}, "UV (mAU)", "the header again between the rows"),
    TEXT + "preamble.txt": ({"sep": "\t"}, pd.errors.ParserError, "Expected 2 fields in line 3, saw 3"),
    TESTDATA + "column04-pulse.csv": ({}, pd.errors.ParserError, "Error tokenizing data"),
    TESTDATA + "export-utf16.txt": ({"sep": "\t"}, UnicodeDecodeError, "'utf-8' codec can't decode byte 0xff"),
    RECORD + "latin.csv": ({}, UnicodeDecodeError, "'utf-8' codec can't decode byte 0xb0"),
}

# file: separator, decimal mark and options of reading for pyarrow.csv.
ARROW_CSV = {
    TESTDATA + "column04-pulse.csv": (",", ".", {"skip_rows": "Time (min)"}),
    TESTDATA + "column04-curve.csv": (",", ".", {"skip_rows": "Velocity (cm/h)"}),
    TESTDATA + "export-utf16.txt": ("\t", ".", {"skip_rows": "Time (min)", "encoding": "utf-16"}),
    TESTDATA + "export-paired.csv": (",", ".", {"skip_rows": "Time"}),
    RECORD + "empty_cells.csv": (",", ".", {}),
    RECORD + "latin.csv": (",", ".", {"encoding": "windows-1252"}),
    RECORD + "quoted_decimal_comma.csv": (",", ",", {}),
    RECORD + "semicolon_comma_bom.csv": (";", ",", {}),
    RECORD + "tab_units_row.txt": ("\t", ".", {"skip_rows": 4}),
    RECORD + "utf16.csv": ("\t", ",", {"encoding": "utf-16"}),
    TEXT + "bars.txt": ("|", ".", {}),
    TEXT + "comma_in_brackets.csv": (";", ",", {}),
    TEXT + "comma_tab.txt": ("\t", ",", {}),
    TEXT + "plain.csv": (",", ".", {}),
    TEXT + "units_everywhere.csv": (",", ".", {}),
}

# The same, with what it leaves as words, or its error.
NOT_ARROW_CSV = {
    TEXT + "thousands_comma.txt": ("\t", ".", "string"),
    TEXT + "thousands_point.csv": (";", ",", "string"),
    TEXT + "number_forms.csv": (",", ".", "string"),
    TEXT + "mixed_line_ends.csv": (",", ".", "string"),
    TEXT + "blanks.txt": (" ", ".", "CSV parse error: Expected 8 columns, got 16"),
    TEXT + "paired_ragged.txt": ("\t", ".", "CSV parse error: Expected 4 columns, got 2"),
    TEXT + "events_late.csv": (",", ".", "CSV parse error: Expected 3 columns, got 2"),
    TEXT + "trailing_separators.csv": (",", ".", "CSV parse error: Expected 2 columns, got 3"),
    TEXT + "footer.csv": (",", ".", "CSV parse error: Expected 2 columns, got 3"),
}

# file: the variables that our columns are, in order; None for times that follow
# from an interval.
NETCDF_VARIABLES = {
    NETCDF + "e1947_sample.cdf": [None, "ordinate_values"],
    NETCDF + "no_retention_unit.cdf": [None, "Ordinate_Values"],
    NETCDF + "own_times.cdf": ["raw_data_retention", "ordinate_values"],
    NETCDF + "records.nc": ["time", "valve", "pressure", "total", "count", "flow"],
    NETCDF + "one_record_variable.nc": ["level"],
}
NOT_SCIPY = {NETCDF + "records.nc": (ValueError, "version_byte|Unexpected header|not a valid NetCDF 3")}

# file, sheet: first row of numbers and, for each pair or set of ours, its column.
SHEETS = {
    (TESTDATA + "export-workbook.xlsx", "Gauge"): (4, "ABC"),
    (SHEET + "several.xlsx", "Run"): (5, "ABCD"),
    (SHEET + "several.xlsx", "Log"): (2, "ABC"),
    (SHEET + "days_from_1904.xlsx", "Log"): (2, "ABC"),
}

# file: the rows that we keep, where not all: one without a position is dropped.
ARROW = {
    COLUMNAR + "types.parquet": None,
    COLUMNAR + "types_v2_zstd.parquet": None,
    COLUMNAR + "types_old.parquet": [0, 2],
    COLUMNAR + "types.arrow": None,
    COLUMNAR + "types_zstd.arrows": None,
}


class Ours:
    """What our reader made of files; it runs once for all of them."""

    def __init__(self, root):
        self.root, self.answers = root, {}

    def ask(self, requests):
        """Return the answers to requests, each with path, options and copies."""
        done = subprocess.run(["go", "run", "./kernel/clients/readers"], input=json.dumps(requests),
                              cwd=self.root, env={**os.environ, "CGO_ENABLED": "0"}, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def read(self, path, table=""):
        """Return the columns of a file of the tables above."""
        if not self.answers:
            paths = {*PANDAS, *NOT_PANDAS, *ARROW_CSV, *NOT_ARROW_CSV, *NETCDF_VARIABLES, *ARROW, ANIML + "pulse.animl"}
            wanted = [(p, "", PANDAS.get(p, {}).get("ours", KEEP_ROWS if p in ARROW else {})) for p in sorted(paths)]
            wanted += [(p, sheet, KEEP_ROWS) for p, sheet in SHEETS]
            answers = self.ask([{"path": p, "options": {"Table": t, **o}} for p, t, o in wanted])
            self.answers = {(p, t): a for (p, t, _), a in zip(wanted, answers)}
        answer = self.answers[path, table]
        assert "error" not in answer, answer["error"]
        return answer["columns"]


def numbers(column):
    """Return the numbers of one of our columns."""
    return np.array([float.fromhex(v) for v in column["values"]])


@pytest.fixture(scope="module")
def ours(root):
    """Return our reader."""
    return Ours(root)


def same(column, theirs):
    """Fail unless a column of ours is theirs, bit by bit; a column with an axis of its own may be shorter."""
    mine, theirs = numbers(column), np.asarray(theirs, dtype=float)
    assert len(mine) > 0 and np.isnan(theirs[len(mine):]).all(), f"{len(mine)} rows, theirs {len(theirs)}"
    for row, (a, b) in enumerate(zip(mine, theirs, strict=len(mine) == len(theirs))):
        both_missing = np.isnan(a) and np.isnan(b)
        assert both_missing or struct.pack("d", a) == struct.pack("d", b), f"{column['name']}, row {row}: {a!r}, theirs {b!r}"


def all_same(columns, theirs):
    """Fail unless our columns of numbers are theirs."""
    columns = [c for c in columns if "values" in c]
    assert len(columns) == len(theirs), [c["name"] for c in columns]
    for column, other in zip(columns, theirs):
        same(column, other)


def first_line(file, start, encoding):
    """Return how many lines stand before the one that begins so; a number is returned as it is."""
    if isinstance(start, int):
        return start
    lines = file.read_text(encoding=encoding).splitlines()
    return next(number for number, line in enumerate(lines) if line.startswith(start))


def by_pandas(file, cells=None, times=None, ours=None, **how):
    """Return the columns of numbers as pandas reads them."""
    if "skiprows" in how:
        how["skiprows"] = first_line(file, how["skiprows"], how.get("encoding"))
    frame = pd.read_csv(file, **how)
    columns = [frame.iloc[:, i] for i in cells or range(frame.shape[1])]
    if times:
        columns[0] = times(columns[0])
    return columns


@pytest.mark.parametrize("path", PANDAS)
def test_pandas(ours, root, path):
    """pandas, told all that we find out, has our numbers."""
    all_same(ours.read(path), by_pandas(root / path, **PANDAS[path]))


@pytest.mark.parametrize("path", NOT_PANDAS)
def test_not_pandas(ours, root, path):
    """What pandas cannot read, or leaves as words, we read."""
    how, failure, why = NOT_PANDAS[path]
    assert ours.read(path)
    if isinstance(failure, str):
        column = pd.read_csv(root / path, **how)[failure]
        assert not pd.api.types.is_numeric_dtype(column), f"pandas reads {why} by now"
    else:
        with pytest.raises(failure, match=why):
            pd.read_csv(root / path, **how)


def by_arrow(file, separator, decimal, skip_rows=0, encoding="utf8"):
    """Return the table that pyarrow.csv reads."""
    skip_rows = first_line(file, skip_rows, encoding)
    return pa.csv.read_csv(file, pa.csv.ReadOptions(skip_rows=skip_rows, encoding=encoding),
                           pa.csv.ParseOptions(delimiter=separator), pa.csv.ConvertOptions(decimal_point=decimal))


def floats(column):
    """Return the numbers of a column of an Arrow table; NaN where it has none."""
    return [np.nan if v is None else float(v) for v in column.to_pylist()]


@pytest.mark.parametrize("path", ARROW_CSV)
def test_arrow_csv(ours, root, path):
    """pyarrow.csv has our numbers."""
    separator, decimal, how = ARROW_CSV[path]
    all_same(ours.read(path), [floats(c) for c in by_arrow(root / path, separator, decimal, **how).columns])


@pytest.mark.parametrize("path", NOT_ARROW_CSV)
def test_not_arrow_csv(ours, root, path):
    """What pyarrow.csv cannot read, or leaves as words, we read."""
    separator, decimal, failure = NOT_ARROW_CSV[path]
    assert ours.read(path)
    if failure == "string":
        assert pa.string() in by_arrow(root / path, separator, decimal).schema.types
    else:
        with pytest.raises(pa.ArrowInvalid, match=failure):
            by_arrow(root / path, separator, decimal)


def hard_numbers():
    """Return numbers as text that are hard to round."""
    r = random.Random(8)
    texts = ["0.1", "9007199254740993", "9007199254740992.999999999999999999", "1e23", "8.988465674311579e307",
             "2.2250738585072011e-308", "4.9406564584124654e-324", "2.4703282292062328e-324", "1.7976931348623157e308",
             "179769313486231580793.728971405301", "0.500000000000000166533453693773481063544750213623046875"]
    for _ in range(20_000):
        bits = r.getrandbits(64) & ~(1 << 63)
        value = struct.unpack("d", bits.to_bytes(8, "little"))[0]
        if not np.isfinite(value):
            continue
        texts += [repr(value), f"{value:.16e}", f"{value:.25e}"]
        texts += [f"{r.uniform(0, 1e4):.{r.randrange(1, 18)}f}"]
        middle = r.getrandbits(53) | 1 << 52  # of two neighbours, exactly
        texts += [str(2 * middle + 1) if r.random() < 0.5 else f"{middle}.5"]
    return texts


@pytest.mark.parametrize("separator, decimal, encoding", [(",", ".", "utf-8"), (";", ",", "utf-16"), ("\t", ",", "windows-1252")])
def test_hard_numbers(ours, tmp_path, separator, decimal, encoding):
    """A hundred thousand numbers that are hard to round, against pandas, pyarrow and Python itself."""
    texts = hard_numbers()
    lines = [f"n{separator}value", *(f"{i}{separator}{t.replace('.', decimal)}" for i, t in enumerate(texts))]
    file = tmp_path / "hard.csv"
    file.write_text("\n".join(lines) + "\n", encoding=encoding)
    (answer,) = ours.ask([{"path": str(file)}])
    assert "error" not in answer, answer["error"]
    value = answer["columns"][1]
    same(value, [float(t) for t in texts])
    same(value, by_pandas(file, sep=separator, decimal=decimal, encoding=encoding)[1])
    same(value, floats(by_arrow(file, separator, decimal, encoding=encoding).column("value")))


def by_variables(path, read, variables):
    """Return the named variables; times that follow from an interval are worked out."""
    columns = []
    for name in variables[path]:
        if name is None:
            delay, interval = (float(read(n)) for n in ("actual_delay_time", "actual_sampling_interval"))
            columns.append(delay + interval * np.arange(len(read(variables[path][1]))))
        else:
            columns.append(read(name))
    return columns


@pytest.mark.parametrize("path", NETCDF_VARIABLES)
def test_netcdf4(ours, root, path):
    """The netCDF library has our numbers."""
    with netCDF4.Dataset(root / path) as data:
        def read(name):
            return np.ma.filled(np.ma.asarray(data[name][...]).astype(float), np.nan)
        all_same(ours.read(path), by_variables(path, read, NETCDF_VARIABLES))


@pytest.mark.parametrize("path", [p for p in NETCDF_VARIABLES if p not in NOT_SCIPY])
def test_scipy_netcdf(ours, root, path):
    """SciPy's own reader has our numbers."""
    with netcdf_file(root / path, mmap=False, maskandscale=True) as data:
        def read(name):
            return np.ma.filled(np.ma.asarray(data.variables[name][...]).astype(float), np.nan)
        all_same(ours.read(path), by_variables(path, read, NETCDF_VARIABLES))


@pytest.mark.parametrize("path", NOT_SCIPY)
def test_not_scipy(ours, root, path):
    """What SciPy cannot read, we read."""
    failure, why = NOT_SCIPY[path]
    assert ours.read(path)
    with pytest.raises(failure, match=why):
        netcdf_file(root / path, mmap=False)


@pytest.mark.parametrize("path, sheet", SHEETS)
def test_openpyxl(ours, root, path, sheet):
    """openpyxl has our numbers."""
    first, letters = SHEETS[path, sheet]
    book = openpyxl.load_workbook(root / path, data_only=True)
    columns = []
    for letter in letters:
        cells = [c.value for c in book[sheet][letter][first - 1:]]
        columns.append(of_cells(cells))
    all_same(ours.read(path, sheet), columns)


def of_cells(cells):
    """Return the numbers in cells: moments as seconds after the first, elapsed times in seconds, words as numbers."""
    moment = [c for c in cells if hasattr(c, "year")]
    result = []
    for c in cells:
        if c is None:
            result.append(np.nan)
        elif moment:
            result.append((c - moment[0]).total_seconds())
        elif hasattr(c, "total_seconds"):
            result.append(c.total_seconds())
        elif hasattr(c, "hour"):
            result.append(c.hour * 3600 + c.minute * 60 + c.second + c.microsecond * 1e-6)
        else:
            result.append(float(c.replace(",", ".")) if isinstance(c, str) else float(c))
    return result


def test_formula_without_result(root, ours):
    """openpyxl shows nothing where a formula has no result; we refuse."""
    path = SHEET + "bad_formula.xlsx"
    assert openpyxl.load_workbook(root / path, data_only=True).active["B2"].value is None
    (answer,) = ours.ask([{"path": path}])
    assert "formula without its result" in answer["error"]


def arrow_table(file):
    """Return the table of a Parquet or Arrow file."""
    if file.suffix == ".parquet":
        return pa.parquet.read_table(file)
    source = pa.memory_map(str(file))
    return (pa.ipc.open_file if file.suffix == ".arrow" else pa.ipc.open_stream)(source).read_all()


def arrow_numbers(column, start):
    """Return a column of an Arrow table as numbers: moments as seconds after start, durations and clocks in seconds."""
    def nanoseconds(kind):
        return column.cast(kind).cast(pa.int64()).to_pylist()
    t, zero = column.type, 0
    if pa.types.is_timestamp(t) or pa.types.is_date(t):
        whole, zero = nanoseconds(pa.timestamp("ns", getattr(t, "tz", None))), pd.Timestamp(start).value
    elif pa.types.is_duration(t):
        whole = nanoseconds(pa.duration("ns"))
    elif pa.types.is_time(t):
        whole = nanoseconds(pa.time64("ns"))
    else:
        return floats(column)
    return [np.nan if v is None else (v - zero) / 1e9 for v in whole]


@pytest.mark.parametrize("path", ARROW)
def test_arrow(ours, root, path):
    """pyarrow has our numbers, of every type."""
    table = arrow_table(root / path)
    if ARROW[path]:
        table = table.take(ARROW[path])
    columns = [c for c in ours.read(path) if "values" in c]
    assert len(columns) >= 11
    for column in columns:
        same(column, arrow_numbers(table.column(column["name"]), column.get("start")))


PACKED = {"Int32": "<i4", "Int64": "<i8", "Float32": "<f4", "Float64": "<f8"}
SINGLE = {"Int32": "I", "Int64": "L", "Float32": "F", "Float64": "D"}  # elements of one value


def animl_value(kind, text):
    """Return one value of AnIML as a number: moments as POSIX time, NaN if there is none."""
    if not text:
        return np.nan
    if kind == "Boolean":
        return float(text in ("true", "1"))
    if kind == "DateTime":
        moment = datetime.datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.replace(tzinfo=datetime.timezone.utc)).timestamp()
    return float(np.float32(text)) if kind == "Float32" else float(text)


def by_elements(file):
    """Return the Series of an AnIML file as name -> numbers, by Python's own XML library."""
    found = {}
    for series_set in ET.parse(file).getroot().findall(".//{*}SeriesSet"):
        for series in series_set.findall("{*}Series"):
            kind, values, at = series.get("seriesType"), np.full(int(series_set.get("length")), np.nan), 0
            if kind == "String":
                continue
            for part in series:
                at = int(part.get("startIndex", at))
                match part.tag.split("}")[-1]:
                    case "IndividualValueSet":
                        new = [animl_value(kind, v.text) for v in part]
                    case "EncodedValueSet":
                        new = np.frombuffer(base64.b64decode(part.text), PACKED[kind])
                    case "AutoIncrementedValueSet":
                        start, step = (float(part.find(f"{{*}}{n}")[0].text) for n in ("StartValue", "Increment"))
                        new = start + step * np.arange(int(part.get("endIndex", len(values) - 1)) + 1 - at)
                    case _:
                        continue
                values[at:at + len(new)] = new
                at += len(new)
            found[series.get("name")] = values - values[0] if kind == "DateTime" else values
    return found


def series_equal(columns, theirs):
    """Fail unless our columns of numbers have the names and the numbers of theirs."""
    columns = [c for c in columns if "values" in c]
    assert [c["name"] for c in columns] == list(theirs)
    for column in columns:
        same(column, theirs[column["name"]])


def test_animl(ours, root):
    """Python's own XML library has our numbers, in every form that values have."""
    theirs = by_elements(root / ANIML / "pulse.animl")
    assert len(theirs) == 7
    series_equal(ours.read(ANIML + "pulse.animl"), theirs)


@pytest.mark.parametrize("seed", range(5))
def test_written_animl(ours, tmp_path, seed):
    """What Python's own XML library writes, packed by numpy or one by one, in parts and with gaps, we read."""
    r, n = random.Random(seed), 200
    ET.register_namespace("", "urn:org:astm:animl:schema:core:draft:0.90")
    space = r.choice(["", "{urn:org:astm:animl:schema:core:draft:0.90}"])
    root = ET.Element(space + "AnIML")
    series_set = ET.SubElement(root, space + "SeriesSet", name="all", length=str(n))
    wanted = {"Time": 0.1 * r.random() + 0.25 * np.arange(n)}
    for name in ("Time", *"ABCDEF"):
        kind = "Float64" if name == "Time" else r.choice(list(PACKED))
        series = ET.SubElement(series_set, space + "Series", name=name, seriesType=kind, dependency="independent" if name == "Time" else "dependent")
        if name != "Time":
            with np.errstate(invalid="ignore"):  # signalling NaN
                raw = np.frombuffer(r.randbytes(8 * n), PACKED[kind])[:n].astype(float)
            wanted[name] = np.where(np.isfinite(raw), raw, 1.5)
        ET.SubElement(series, space + "Unit", label="s" if name == "Time" else "mAU")
        at = 0
        while at < n:
            size = r.randrange(1, 60)
            part = wanted[name][at:at + size]
            if name != "Time" and at > 0 and len(part) + at < n and r.random() < 0.2:
                part[:] = np.nan  # a gap
            elif r.random() < 0.5:
                e = ET.SubElement(series, space + "EncodedValueSet", startIndex=str(at))
                e.text = base64.b64encode(part.astype(PACKED[kind]).tobytes()).decode()
            else:
                e = ET.SubElement(series, space + "IndividualValueSet", startIndex=str(at), endIndex=str(at + len(part) - 1))
                for v in part:
                    ET.SubElement(e, space + SINGLE[kind]).text = repr(int(v)) if kind[0] == "I" else repr(float(v))
            at += len(part)
    file = tmp_path / "made.animl"
    ET.ElementTree(root).write(file, encoding="utf-8", xml_declaration=True)
    (answer,) = ours.ask([{"path": str(file)}])
    assert "error" not in answer, answer["error"]
    series_equal(answer["columns"], wanted)
    series_equal(answer["columns"], by_elements(file))


# What we write again, and in which formats.
COPIED = {
    TESTDATA + "column04-pulse.csv": ("csv", "parquet", "xlsx", "nc"),
    TESTDATA + "export-decimal-comma.csv": ("csv", "parquet", "xlsx", "nc"),
    TESTDATA + "export-paired.csv": ("csv", "parquet", "xlsx", "nc"),
    TESTDATA + "export-remarks.csv": ("csv", "parquet", "xlsx", "nc"),
    NETCDF + "own_times.cdf": ("csv", "parquet", "xlsx", "nc"),
    COLUMNAR + "types.parquet": ("parquet", "xlsx"),
    "hard": ("csv", "parquet", "xlsx", "nc"),
}


@pytest.fixture(scope="module")
def copies(ours, tmp_path_factory):
    """Return path -> (our columns of numbers, stem of the copies that we wrote)."""
    folder = tmp_path_factory.mktemp("copies")
    (folder / "hard.csv").write_text("n,value\n" + "".join(f"{i},{t}\n" for i, t in enumerate(hard_numbers())))
    stems = {path: folder / str(number) for number, path in enumerate(COPIED)}
    answers = ours.ask([{"path": str(folder / "hard.csv") if path == "hard" else path,
                         "copies": [f"{stems[path]}.{ending}" for ending in endings]} for path, endings in COPIED.items()])
    for (path, endings), answer in zip(COPIED.items(), answers):
        assert "error" not in answer, answer["error"]
        assert answer["written"] == [""] * len(endings), f"{path}: {answer['written']}"
    return {path: ([c for c in answer["columns"] if "values" in c], stems[path]) for path, answer in zip(COPIED, answers)}


def test_written_moments(ours, tmp_path):
    """netCDF4 reads the moments that we write, and our reader reads those of netCDF4."""
    moments = [datetime.datetime(2026, 3, 9, 8, 30) + datetime.timedelta(days=40 * i, microseconds=250_000 * i) for i in range(5)]
    text = tmp_path / "moments.csv"
    text.write_text("Moment,UV (mAU)\n" + "".join(f"{m.isoformat()},{i}.5\n" for i, m in enumerate(moments)))
    (answer,) = ours.ask([{"path": str(text), "copies": [str(tmp_path / "copy.nc")]}])
    assert answer["written"] == [""]
    with netCDF4.Dataset(tmp_path / "copy.nc") as data:
        time = data["Moment"]
        read = netCDF4.num2date(time[...], time.units, time.calendar, only_use_cftime_datetimes=False, only_use_python_datetimes=True)
        assert list(read) == moments
    with netCDF4.Dataset(tmp_path / "theirs.nc", "w", format="NETCDF3_CLASSIC") as data:
        data.createDimension("time", len(moments))
        time, flow = (data.createVariable(n, "f8", ("time",)) for n in ("time", "flow"))
        time.units, time.calendar = "hours since 2026-03-01 00:00:00", "standard"
        time[:] = netCDF4.date2num(moments, time.units, time.calendar)
        flow[:] = range(len(moments))
        hours = time[...].filled()
    (answer,) = ours.ask([{"path": str(tmp_path / "theirs.nc")}])
    column = answer["columns"][0]
    assert (column["name"], column["unit"], column["start"]) == ("time", "hours", "2026-03-01T00:00:00Z")
    same(column, hours)


@pytest.mark.parametrize("path, even", [(TESTDATA + "column04-pulse.csv", None), (TESTDATA + "export-paired.csv", None), ("even", True), ("uneven", False)])
def test_written_signal(ours, root, tmp_path, path, even):
    """netCDF4 finds in our file of one signal what ASTM E1947 puts there."""
    file = root / path
    if even is not None:
        file = tmp_path / "made.csv"
        file.write_text("Time (min),UV (mAU)\n" + "".join(f"{0.25 * i if even or i < 9 else 0.3 * i},{i / 3}\n" for i in range(10)))
    (answer,) = ours.ask([{"path": str(file), "signal": "UV", "copies": [str(tmp_path / "uv.cdf")]}])
    assert answer["written"] == [""], answer["written"]
    uv = next(c for c in answer["columns"] if c["name"].startswith("UV"))
    axis = next(c for c in answer["columns"] if c["name"] == uv["axis"])
    with netCDF4.Dataset(tmp_path / "uv.cdf") as data:
        assert data.retention_unit == {"min": "minutes", "s": "seconds"}[axis["unit"]]
        assert (data.detector_name, data.detector_unit, data.dataset_completeness) == (uv["name"], uv["unit"], "C1")
        same(uv, data["ordinate_values"][...].filled(np.nan))
        flag = data["ordinate_values"].uniform_sampling_flag
        assert even is None or flag == ("Y" if even else "N")
        if flag == "Y":
            times = float(data["actual_delay_time"][...]) + float(data["actual_sampling_interval"][...]) * np.arange(len(uv["values"]))
        else:
            times = data["raw_data_retention"][...].filled(np.nan)
        same(axis, times)


def titled(column):
    """Return the name of a column in our CSV."""
    return f"{column['name']} ({column['unit']})" if "unit" in column else column["name"]


@pytest.mark.parametrize("path", [p for p in COPIED if "csv" in COPIED[p]])
def test_written_csv(copies, path):
    """pandas reads our CSV to the last bit, pyarrow.csv too."""
    columns, stem = copies[path]
    file = stem.with_suffix(".csv")
    start = titled(columns[0]) + ","
    rows = len(columns[0]["values"])
    table = file.read_text().splitlines()[first_line(file, start, "utf-8"):][:rows + 1]  # without our notes
    file.write_text("\n".join(table) + "\n")
    frame, table = pd.read_csv(file), by_arrow(file, ",", ".")
    for column in columns:
        same(column, frame[titled(column)])
        same(column, floats(table.column(titled(column))))


@pytest.mark.parametrize("path", [p for p in COPIED if "parquet" in COPIED[p]])
def test_written_parquet(copies, path):
    """pyarrow and pandas read our Parquet to the last bit, with units."""
    columns, stem = copies[path]
    table = pa.parquet.read_table(stem.with_suffix(".parquet"))
    frame = pd.read_parquet(stem.with_suffix(".parquet"))
    for column in columns:
        same(column, arrow_numbers(table.column(column["name"]), column.get("start")))
        if "start" not in column:
            same(column, frame[column["name"]])
            assert (table.field(column["name"]).metadata or {}).get(b"unit", b"").decode() == column.get("unit", "")


@pytest.mark.parametrize("path", [p for p in COPIED if "xlsx" in COPIED[p]])
def test_written_workbook(ours, copies, path):
    """openpyxl and pandas read our workbook to the last bit, and so do we; the preamble stands in its second sheet."""
    columns, stem = copies[path]
    file = stem.with_suffix(".xlsx")
    book = openpyxl.load_workbook(file, read_only=True)
    signals, about = (list(sheet.iter_rows(values_only=True)) for sheet in book)
    frame = pd.read_excel(file, sheet_name="Signals")
    assert about[0] == ("part of the record", "key", "value")
    for column in columns:
        if "start" in column:  # moments are dates or texts
            continue
        place = signals[0].index(titled(column))
        same(column, [np.nan if row[place] is None else row[place] for row in signals[1:]])
        if column["name"] != "large":  # whole numbers beyond 64 bits are words to pandas
            same(column, frame[titled(column)])
    (answer,) = ours.ask([{"path": str(file), "options": KEEP_ROWS}])
    assert "error" not in answer, answer["error"]
    again = [c for c in answer["columns"] if "values" in c]
    assert [(c["name"], c.get("unit"), c["values"]) for c in again] == [(c["name"], c.get("unit"), c["values"]) for c in columns]


@pytest.mark.parametrize("compression", ["snappy", "gzip", "brotli", "zstd", "lz4"])
@pytest.mark.parametrize("version", ["1.0", "2.0"])
def test_packed_parquet(ours, tmp_path, compression, version):
    """What pyarrow packs, in many pages, well and badly, we unpack."""
    r = np.random.default_rng(5)
    n = 30_000
    wanted = {"Time": np.arange(n) * 0.25, "UV": r.normal(size=n), "step": np.arange(n) // 1000 * 1.5, "flow": np.where(r.random(n) < 0.1, np.nan, 20.0)}
    table = pa.table({k: pa.array(v, from_pandas=True) for k, v in wanted.items()})
    file = tmp_path / "packed.parquet"
    pa.parquet.write_table(table, file, compression=compression, data_page_version=version, row_group_size=20_000, data_page_size=20_000)
    (answer,) = ours.ask([{"path": str(file), "options": {"Axis": "Time", "Units": {"Time": "s"}}}])
    assert "error" not in answer, answer["error"]
    for column in answer["columns"]:
        same(column, wanted[column["name"]])
    assert len(answer["columns"]) == len(wanted)


@pytest.mark.parametrize("separator, decimal, encoding", [(",", ".", "utf-8"), (";", ",", "utf-8"), ("\t", ",", "utf-16")])
def test_signals_below_each_other(ours, tmp_path, separator, decimal, encoding):
    """pandas' pivot takes rows of several signals apart as we do."""
    r = random.Random(11)
    rows = [(f"2026-03-09 08:{i // 60:02}:{i % 60:02}", name, r.uniform(-5, 50), unit)
            for i in range(600) for name, unit in (("Pressure", "bar"), ("Flow", "L/h"), ("UV", "mAU")) if r.random() < 0.7]
    frame = pd.DataFrame(rows, columns=["Moment", "Tag", "Value", "Unit"])
    file = tmp_path / "history.csv"
    frame.to_csv(file, index=False, sep=separator, decimal=decimal, encoding=encoding)
    wide = frame.pivot(index="Moment", columns="Tag", values="Value")
    (answer,) = ours.ask([{"path": str(file)}])
    assert "error" not in answer, answer["error"]
    columns = {c["name"]: c for c in answer["columns"]}
    assert len(columns) == 6
    start = pd.Timestamp(rows[0][0])
    for name, unit in {(n, u) for _, n, _, u in rows}:
        theirs = wide[name].dropna()
        assert columns[name]["unit"] == unit
        same(columns[name], theirs)
        same(columns[columns[name]["axis"]], (pd.to_datetime(theirs.index.to_series()) - start).dt.total_seconds())


@pytest.mark.parametrize("path", [p for p in COPIED if "nc" in COPIED[p]])
def test_written_netcdf(copies, path):
    """netCDF4 and SciPy read our netCDF to the last bit, with units."""
    columns, stem = copies[path]
    with netCDF4.Dataset(stem.with_suffix(".nc")) as data, netcdf_file(stem.with_suffix(".nc"), mmap=False) as other:
        assert data.data_model.startswith("NETCDF3")
        named = {v.long_name if "long_name" in v.ncattrs() else v.name: v.name for v in data.variables.values()}
        for column in columns:
            variable = data[named[column["name"]]]
            same(column, np.ma.filled(variable[...].astype(float), np.nan))
            same(column, other.variables[variable.name][:])
            assert getattr(variable, "units", "") == column.get("unit", "")
