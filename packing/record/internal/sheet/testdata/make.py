# Makes the workbooks of this folder. Every number is invented and written here
# by hand. python make.py, with the version that README.md names.
import datetime

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils.datetime import CALENDAR_MAC_1904

# Several sheets: paired columns under merged names, ragged rows, a hidden
# sheet, a sheet of words.
wb = Workbook()
ws = wb.active
ws.title = "Run"
for row in (
    ["Pulse test of column 04"],
    [],
    ["UV", None, "Cond", None],
    ["min", "mAU", "min", "mS/cm"],
    [0, 0.1, 0, 1.5],
    [0.5, 1 / 3, 1, 1.25],
    [1, 1e-7],
):
    ws.append(row)
ws.merge_cells("A1:D1")
ws.merge_cells("A3:B3")
ws.merge_cells("C3:D3")
ws["B5"].number_format = "0"  # shows 0, holds 0.1
ws["F3"].font = Font(bold=True)  # styled and empty
log = wb.create_sheet("Log")
log.append(["Time", "Pressure [bar]", "Alarm"])
log.append([datetime.datetime(2024, 3, 1, 8, 30), 1.5, True])
log.append([datetime.datetime(2024, 3, 1, 8, 30, 0, 250000), "1.75", False])
log.append([datetime.datetime(1900, 2, 28), 2, None])
notes = wb.create_sheet("Notes")
notes.append(["Nothing to report"])
wb.create_sheet("Draft").append([1, 2])
wb["Draft"].sheet_state = "hidden"
wb.save("several.xlsx")

# The other date system, an elapsed time, and text with a decimal comma.
wb = Workbook()
wb.epoch = CALENDAR_MAC_1904
ws = wb.active
ws.title = "Log"
ws.append(["Date", "Elapsed", "pH"])
ws.append([datetime.date(2024, 3, 1), datetime.timedelta(hours=25, seconds=1.5), "7,05"])
ws.append([datetime.date(1904, 1, 2), datetime.time(0, 0, 2), "7,1"])
ws["B2"].number_format = "[h]:mm:ss.000"
wb.save("days_from_1904.xlsx")

# A formula that was never worked out.
wb = Workbook()
wb.active.title = "Sum"
wb.active.append(["a", "b"])
wb.active.append([1, "=A2*2"])
wb.save("bad_formula.xlsx")
