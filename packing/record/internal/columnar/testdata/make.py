# Makes the files of this folder. Every number is invented and written here by
# hand. python make.py, with the version that README.md names.
from datetime import date, datetime, time, timedelta, timezone
from decimal import Decimal

import pyarrow as pa
import pyarrow.parquet as pq

plain = [
    ("Time", pa.float64(), [0, 0.5, 1], {"unit": "min"}),
    ("UV", pa.float32(), [0.1, None, 3.5], {"unit": "mAU"}),
    ("count", pa.int64(), [1, -(2**53), None], None),
    ("valve", pa.uint8(), [1, 255, 0], None),
    ("large", pa.uint64(), [2**64 - 2**11, 0, None], None),
    ("open", pa.bool_(), [True, False, None], None),
    ("mass", pa.decimal128(20, 3), [Decimal("0.100"), Decimal("-12345678901234567.891"), None], {"Units": "kg"}),
    ("phase", pa.dictionary(pa.int8(), pa.string()), ["load", None, "load"], None),
    ("note", pa.string(), ["é", "", None], None),
    ("at", pa.timestamp("ms"), [datetime(2024, 3, 1, 8, 30, 0, 250000), None, datetime(1969, 12, 31, 23, 59, 59, 999000)], None),
    ("zoned", pa.timestamp("us", "Europe/Vienna"), [datetime(2024, 3, 1, 7, 30, tzinfo=timezone.utc)] * 3, None),
    ("day", pa.date32(), [date(2024, 2, 29), None, date(1969, 12, 31)], None),
    ("clock", pa.time32("ms"), [time(1, 0, 0, 500000), None, time(0, 0, 1)], None),
    ("list", pa.list_(pa.int32()), [[1, 2], [], None], None),
]
schema = pa.schema([pa.field(n, t, metadata=m) for n, t, _, m in plain], metadata={"operator": "A <b>"})
table = pa.table([pa.array(v, t) for _, t, v, _ in plain], schema=schema)
pq.write_table(table, "types.parquet", row_group_size=2, compression="snappy")
pq.write_table(table, "types_v2_zstd.parquet", data_page_version="2.0", compression="zstd", version="2.6")
pq.write_table(table, "types_lz4.parquet", compression="lz4")
pq.write_table(table, "types_v2_lz4.parquet", compression="lz4", data_page_version="2.0", row_group_size=2)
pq.write_table(table, "types_brotli.parquet", compression="brotli", data_page_version="2.0")
pq.write_table(table, "types_old.parquet", version="1.0", compression="gzip", use_dictionary=False, use_deprecated_int96_timestamps=True, store_schema=False)

more = [("took", pa.duration("ns"), [timedelta(seconds=1.5), None, timedelta(0)], None), ("half", pa.float16(), [0.5, None, 2], None)]
schema = pa.schema([pa.field(n, t, metadata=m) for n, t, _, m in plain + more], metadata={"operator": "A <b>"})
table = pa.table([pa.array(v, t) for _, t, v, _ in plain + more], schema=schema)
batches = table.to_batches(max_chunksize=2)
with pa.OSFile("types.arrow", "wb") as f, pa.ipc.new_file(f, schema) as w:
    for b in batches:
        w.write_batch(b)
with pa.OSFile("types_zstd.arrows", "wb") as f, pa.ipc.new_stream(f, schema, options=pa.ipc.IpcWriteOptions(compression="zstd")) as w:
    for b in batches:
        w.write_batch(b)
