package text

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/evenbed/evenbed/packing/record/internal/source"
	"github.com/evenbed/evenbed/packing/task"
)

// A col is a column that a file must give.
type col struct {
	name, unit string
	cells      string // numbers with blanks between, "-" for none; texts and moments with "|"
	axis       int
}

// A refusal is the error that a file must give.
type refusal struct {
	line, column    int
	problem, remedy string // parts of both
}

// files holds what each file of testdata must give, written by hand from the
// file and the rules, not from the reader's answer.
var files = []struct {
	file    string
	options Options
	cols    []col
	meta    string // "line key=value|..."
	notes   string // the same
	dropped []int
	facts   []string // "what: part of the value"
	lines   []int    // of the rows, if they are not consecutive
	refusal *refusal
	comma   bool // has a twin with semicolons and decimal commas
}{
	{file: "plain.csv", comma: true, cols: []col{{"Time", "min", "0 0.5 1", -1}, {"UV", "mAU", "1.5 12.25 -3.125", 0}, {"Pressure", "bar", "0.2 0.21 0.19", 0}},
		facts: []string{"separator: comma", "decimal mark: point", "header: line 1", "rows: 3, lines 2 to 4"}},
	{file: "plain_tab.txt", cols: []col{{"Time", "min", "0 0.5", -1}, {"UV", "mAU", "1.5 12.25", 0}}, facts: []string{"separator: tab"}},
	{file: "blanks.txt", cols: []col{{"Time", "min", "0 0.5 10", -1}, {"UV", "mAU", "1.5 12.25 -3.125", 0}, {"P", "bar", "0.2 0.21 0.19", 0}}, facts: []string{"separator: blanks"}},
	{file: "bars.txt", cols: []col{{"Time", "min", "0 0.5", -1}, {"UV", "mAU", "1.5 12.25", 0}}, facts: []string{"separator: bar"}},
	{file: "mark_before_quote.csv", cols: []col{{"Time", "", "0 1", -1}, {"UV", "", "1.5 2.5", 0}}, facts: []string{"encoding: utf-8 with byte order mark"}},
	{file: "windows1252.csv", cols: []col{{"Temperature", "°C", "20.5 21.5 22.5", -1}, {"Conductivity", "µS/cm", "1.25 1.75 2", -1}, {"Note", "", "Kühlung||", -1}},
		facts: []string{"encoding: windows-1252"}},
	{file: "superscripts.csv", cols: []col{{"Time", "min", "0 1", -1}, {"Feed", "m³", "0.5 1.5", 0}, {"Density", "kg/m³", "998.2 998.1", 0}, {"Area", "cm²", "7 7", 0}},
		facts: []string{"encoding: windows-1252"}},
	{file: "two_encodings.csv", refusal: &refusal{4, 0, "not UTF-8, while line 1", `Encoding: "windows-1252"`}},
	{file: "comma_semicolon.csv", cols: []col{{"Time", "min", "10.2 11.2", -1}, {"UV", "mAU", "4.5 -0.25", 0}}, facts: []string{"separator: semicolon", "decimal mark: comma"}},
	{file: "comma_tab.txt", cols: []col{{"Time", "min", "0.5 1.5", -1}, {"UV", "mAU", "0.0012 3", 0}}},
	{file: "comma_in_quotes.csv", cols: []col{{"Time", "s", "0 10", -1}, {"UV", "mAU", "1.5 2.25", 0}}, facts: []string{"separator: comma", "decimal mark: comma"}},
	{file: "thousands_point.csv", cols: []col{{"Time", "s", "0.5 1.5 2.5", -1}, {"Counts", "", "1299.99 12345.5 999.25", 0}, {"Pressure", "Pa", "100000 101325 1001325", 0}},
		facts: []string{"decimal mark: comma", "thousands mark: point"}},
	{file: "thousands_comma.txt", cols: []col{{"Time", "s", "0.5 1.5", -1}, {"Counts", "", "1299.99 4120", 0}}, facts: []string{"thousands mark: comma"}},
	{file: "thousands_apostrophe.csv", cols: []col{{"Time", "s", "0 1", -1}, {"Counts", "", "1299.9 12345.5", 0}}, facts: []string{"thousands mark: apostrophe"}},
	{file: "thousands_blank.csv", cols: []col{{"Time", "s", "0.5 1.5 2.5", -1}, {"Counts", "", "1299.9 12345.5 1000000", 0}}, facts: []string{"thousands mark: blank"}},
	{file: "ambiguous_thousands.txt", refusal: &refusal{2, 0, `"1,234" may be 1234, with a decimal point, or 1.234, with a decimal comma`, `Decimal: ","`}},
	{file: "ambiguous_thousands.txt", options: Options{Decimal: "."}, cols: []col{{"Time", "", "0 1", -1}, {"Counts", "", "1234 5678", 0}}},
	{file: "ambiguous_thousands.txt", options: Options{Decimal: ","}, cols: []col{{"Time", "", "0 1", -1}, {"Counts", "", "1.234 5.678", 0}}},
	{file: "ambiguous_point.csv", refusal: &refusal{2, 0, `"1.234" may be 1.234`, `Decimal: "."`}},
	{file: "ambiguous_point.csv", options: Options{Decimal: ","}, cols: []col{{"Time", "", "0 1", -1}, {"Counts", "", "1234 5678", 0}}},
	{file: "decided_by_preamble.txt", meta: "1 Flow=21,25 mL/min", cols: []col{{"Time", "", "0 1", -1}, {"Counts", "", "1.234 5.678", 0}}, facts: []string{"decimal mark: comma"}},
	{file: "one_column_or_two.csv", refusal: &refusal{1, 0, `with separator comma the cells are "1" "5", and with separator none: one column the cells are "1,5"`, `Separator: ","`}},
	{file: "one_column_or_two.csv", options: Options{Separator: ","}, cols: []col{{"column 1", "", "1 2 3", -1}, {"column 2", "", "5 5 5", -1}}},
	{file: "one_column_or_two.csv", options: Options{Separator: "none"}, cols: []col{{"column 1", "", "1.5 2.5 3.5", -1}}},
	{file: "contradictory_decimals.csv", refusal: &refusal{3, 0, `a point in "1.75" (line 3) but a comma in "0,0" (line 2)`, `Decimal: "."`}},
	{file: "comma_in_brackets.csv", cols: []col{{"Time", "min", "0.5 1.5 2.5", -1}, {"UV (280 nm, path 1 cm)", "", "10 11 12", 0}, {"Flow", "mL/min", "1.5 1.5 1.5", 0}}},
	{file: "preamble.txt", cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}},
		meta: "1 Run=pack 7|2 Column=column 04|3 Flow=21.2 L/h|4 Note=started late; adapter warm|5 =made by hand", facts: []string{"header: line 7", "units: line 8"}},
	{file: "units_row_and_processing.csv", cols: []col{{"Elapsed", "s", "0 1", -1}, {"Record", "RN", "1 2", 0}, {"UV", "mAU", "5.5 5.6", 0}, {"Temp", "degC", "20.1 20.2", 0}},
		meta: "1 Station=invented 7|4 Smp=Smp Avg Avg"},
	{file: "units_everywhere.csv", cols: []col{{"Temp", "°C", "20.5 21.5", 6}, {"column 2", "mAU", "1 1", 6}, {"P", "bar", "2 2", 6}, {"κ", "mS/cm", "3 3", 6},
		{"UV (280 nm)", "mAU", "4 4", 6}, {"pH", "", "5 5", 6}, {"Volume", "mL", "6 7", -1}}, facts: []string{"columns without a name: 2"}},
	{file: "bare_units.csv", cols: []col{{"Time", "min", "0 1", -1}, {"Flow", "mL/min", "1.5 1.5", 0}, {"UV 280 nm", "", "10 11", 0}, {"Pressure min", "", "0.1 0.1", 0},
		{"Temperature", "deg C", "20 20", 0}, {"Conc B", "%", "5 6", 0}, {"Bed height", "mm", "180 180", 0}, {"Pump A", "", "1 1", 0}, {"Feed", "L/h", "2 2", 0}, {"Signal", "a.u.", "3 4", 0}},
		facts: []string{`units behind the names, without brackets: "Time": min, "Flow": mL/min`}},
	{file: "bare_units.csv", options: Options{Units: map[string]string{"flow ml/min": "L/h", "Feed": "mL/min"}}, cols: []col{{"Time", "min", "0 1", -1}, {"Flow mL/min", "L/h", "1.5 1.5", 0},
		{"UV 280 nm", "", "10 11", 0}, {"Pressure min", "", "0.1 0.1", 0}, {"Temperature", "deg C", "20 20", 0}, {"Conc B", "%", "5 6", 0}, {"Bed height", "mm", "180 180", 0}, {"Pump A", "", "1 1", 0},
		{"Feed", "mL/min", "2 2", 0}, {"Signal", "a.u.", "3 4", 0}}},
	{file: "gauge_and_powers.csv", cols: []col{{"Time", "min", "0 1", -1}, {"P1", "bar g", "0.1 0.1", 0}, {"P2", "bar(g)", "0.2 0.2", 0}, {"P3", "bar(g)", "0.3 0.3", 0},
		{"Flow", "mL min-1", "1.5 1.5", 0}, {"C", "mS·cm⁻¹", "5.1 5.1", 0}}},
	{file: "empty_brackets.csv", cols: []col{{"Time", "min", "0 1", -1}, {"Flow bar", "", "1.5 2.5", 0}, {"Ratio (a)", "", "2 2", 0}}},
	{file: "group_names.csv", cols: []col{{"UV 280 nm Time", "min", "0 0.5 1 1.5", -1}, {"UV 280 nm Signal", "mAU", "1.5 2.5 3.5 4.5", 0},
		{"Conductivity Time", "min", "0 1", -1}, {"Conductivity Signal", "mS/cm", "10.5 11.5", 2}}, facts: []string{"signals in pairs of columns: 2"}},
	{file: "group_and_units.txt", cols: []col{{"UV volume", "mL", "0 0.5 1", -1}, {"UV", "mAU", "1.5 2.5 3.5", 0},
		{"Conductivity volume", "mL", "0 1", -1}, {"Conductivity", "mS/cm", "10.5 11.5", 2}}},
	{file: "paired_ragged.txt", cols: []col{{"Time", "min", "0 1 2 3", -1}, {"UV", "mAU", "1.5 2.5 3.5 4.5", 0}, {"Time 2", "min", "0 2", -1}, {"P", "bar", "0.5 0.75", 2}}},
	{file: "header_wide.csv", cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}}, facts: []string{`names without a column: "Spare"`}},
	{file: "header_narrow.csv", cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}, {"column 3", "", "7 8", 0}}, facts: []string{"columns without a name: 3"}},
	{file: "trailing_separators.csv", comma: true, cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "trailing_in_header.csv", comma: true, cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "leading_separator.csv", comma: true, cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}}, facts: []string{"empty columns without a name: left out: 1"}},
	{file: "long_row.csv", refusal: &refusal{3, 7, "3 cells in a row of a table with 2 columns", "DropBadRows"}},
	{file: "long_row.csv", options: Options{DropBadRows: true}, cols: []col{{"Time", "min", "0 2", -1}, {"UV", "mAU", "1.5 3.5", 0}}, dropped: []int{3}, lines: []int{2, 4}},
	{file: "short_row.csv", refusal: &refusal{3, 0, "2 cells in a row of a table with 3 columns", "complete the row"}},
	{file: "cut_off.csv", refusal: &refusal{4, 0, "2 cells in a row of a table with 3 columns; the file ends within it", "LastLine: 3"}},
	{file: "cut_off.csv", options: Options{LastLine: 3}, cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}, {"P", "bar", "1 1", 0}}},
	{file: "zero_bytes.csv", cols: []col{{"Time", "min", "0 1 2", -1}, {"UV", "mAU", "1.5 2.5 3.5", 0}}, lines: []int{2, 3, 5},
		facts: []string{"zero bytes: 3 within", "zero bytes: 4 at the end"}},
	{file: "zero_byte_in_number.csv", refusal: &refusal{3, 3, "a zero byte within the number", "damaged"}},
	{file: "mixed_line_ends.csv", cols: []col{{"Time", "min", "0 1 2 3", -1}, {"UV", "mAU", "1.5 2.5 3.5 4.5", 0}}, facts: []string{"end of file: marked with Ctrl-Z", "line ends: mixed"}},
	{file: "footer.csv", cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}}, notes: "4 Mean=2.0|5 =Totals|6 =End of data"},
	{file: "text_between.csv", refusal: &refusal{3, 0, `text between the rows: "paused here by hand"`, "LastLine: 2"}},
	{file: "header_again.csv", cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}}, dropped: []int{3}, lines: []int{2, 4}},
	{file: "comments.csv", cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}}, meta: "1 =made by hand|2 Operator=nobody", notes: "5 =valve turned", lines: []int{4, 6}},
	{file: "missing_markers.csv", refusal: &refusal{7, 3, `"over" in column "A" is not a number`, `Missing: []string{"over"}`}},
	{file: "missing_markers.csv", options: Options{Missing: []string{"over"}}, cols: []col{{"Time", "min", "0 1 2 3 4 5", -1}, {"A", "", "1.5 - - - - -", 0}, {"B", "", "- - - - - 2.5", 0}, {"C", "", "- - - - - 3.5", 0}},
		facts: []string{`values beyond a limit: column "C": 1`, `values that are missing: column "B": 4`}},
	{file: "unit_in_cells.csv", cols: []col{{"Time", "min", "0 0.5 1", -1}, {"Signal", "mAU", "70 70.5 71", 0}, {"Share", "%", "1.2 1.3 -", 0}}},
	{file: "rate_in_cells.csv", cols: []col{{"Time", "min", "0 1", -1}, {"Count", "cells/uL", "70 71.5", 0}}, facts: []string{`unit behind the numbers: column "Count": cells/uL`}},
	{file: "two_units_in_cells.csv", refusal: &refusal{3, 3, `"0.07 AU" in column "Signal" has another unit`, "one unit"}},
	{file: "number_forms.csv", cols: []col{{"Time", "", "0 1 2 3 4 5 6 7", -1}, {"Value", "", "1200 0.5 5 -2.5 7.25 0.0015 1e22 0.1", 0}}},
	{file: "clock_long.csv", cols: []col{{"Elapsed", "s", "86399.5 86400.25 360001", -1}, {"UV", "mAU", "1.5 2.5 3.5", 0}}, facts: []string{`time form: column "Elapsed": hh:mm:ss`}},
	{file: "clock_short.csv", cols: []col{{"Elapsed", "s", "0.5 3599.5 3660", -1}, {"UV", "mAU", "1.5 2.5 3.5", 0}}, facts: []string{`time form: column "Elapsed": mm:ss`}},
	{file: "clock_two_ways.csv", refusal: &refusal{2, 0, "minutes and seconds or hours and minutes", `TimeLayout: "mm:ss"`}},
	{file: "clock_two_ways.csv", options: Options{TimeLayout: "mm:ss"}, cols: []col{{"Elapsed", "s", "30 90", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "clock_two_ways.csv", options: Options{TimeLayout: "hh:mm"}, cols: []col{{"Elapsed", "s", "1800 5400", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "clock_comma.csv", cols: []col{{"Elapsed", "s", "46800.05 46801.15", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "clock_days.csv", cols: []col{{"Elapsed", "s", "86399 86400", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "date_points.csv", cols: []col{{"Moment", "", "2024-02-01T13:00:00.05Z|2024-02-02T13:00:00.55Z", -1}, {"UV", "mAU", "1.5 2.5", 0}}, facts: []string{"time form: column \"Moment\": day, month, year"}},
	{file: "date_month_first.csv", cols: []col{{"Moment", "", "2024-01-02T13:05:00Z|2024-01-13T00:00:00Z", -1}, {"UV", "mAU", "1.5 2.5", 0}}, facts: []string{"time form: column \"Moment\": month, day, year"}},
	{file: "date_ambiguous.csv", refusal: &refusal{2, 0, "1 February 2024 (dmy) or 2 January 2024 (mdy)", `DateOrder: "dmy"`}},
	{file: "date_ambiguous.csv", options: Options{DateOrder: "mdy"}, cols: []col{{"Moment", "", "2024-01-02T13:00:00Z|2024-03-02T13:00:00Z", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "date_ambiguous.csv", options: Options{TimeLayout: "02/01/2006 15:04"}, cols: []col{{"Moment", "", "2024-02-01T13:00:00Z|2024-02-03T13:00:00Z", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "date_contradictory.csv", refusal: &refusal{3, 0, `"02/14/2024 13:00" (line 3) is not day first, "13/02/2024 13:00" (line 2) is not month first`, "alike"}},
	{file: "date_iso.csv", cols: []col{{"Moment", "", "2024-01-02T03:04:05.678Z|2024-01-02T03:04:06+01:00|2024-02-29T00:00:00Z", -1}, {"UV", "mAU", "1.5 2.5 3.5", 0}}},
	{file: "date_words.csv", cols: []col{{"Moment", "", "2024-01-02T03:04:05Z|2024-02-03T03:04:05Z", -1}, {"UV", "mAU", "1.5 2.5", 0}}},
	{file: "hour_twice.csv", cols: []col{{"Moment", "", "2024-10-27T02:30:00Z|2024-10-27T02:45:00Z|2024-10-27T02:15:00Z", -1}, {"UV", "mAU", "1.5 2.5 3.5", 0}}, facts: []string{"time form: column \"Moment\": year, month, day; without time zone, kept as written"}},
	{file: "same_names.csv", comma: true, cols: []col{{"Time", "", "0 1", -1}, {"UV", "", "1.5 2.5", 0}, {"UV 2", "", "2 2", 0}, {"uv 3", "", "3 3", 0}}, facts: []string{`names that occur before: numbered: "UV 2", "uv 3"`}},
	{file: "events.csv", cols: []col{{"Time", "min", "0 1 2 3", -1}, {"UV", "mAU", "1.5 2.5 3.5 4.5", 0}, {"Event", "", "|sample in||wash, long", 0}}},
	{file: "events_late.csv", cols: []col{{"Time", "min", "0 1 2 3", -1}, {"UV", "mAU", "1.5 2.5 3.5 4.5", 0}, {"Event", "", "|||done", 0}}},
	{file: "quotes.csv", cols: []col{{"Time", "min", "0 1 2 3 4 5", -1}, {"UV", "mAU", "1.5 2.5 3.5 4.5 5.5 6.5", 0}, {"Remark", "", "said \"stop\"|a 5\" tube|two\nlines|||", 0}}, lines: []int{2, 3, 4, 6, 7, 8}},
	{file: "quote_never_closed.csv", cols: []col{{"Time", "min", "0 1 2", -1}, {"UV", "mAU", "1.5 2.5 3.5", 0}, {"Remark", "", "\"open||", 0}}},
	{file: "formula_error.csv", refusal: &refusal{3, 3, "the error of a formula, #DIV/0!", "mend the sheet"}},
	{file: "formula_error.csv", options: Options{DropBadRows: true}, cols: []col{{"Time", "min", "0 2", -1}, {"UV", "mAU", "1.5 3.5", 0}}, dropped: []int{3}, lines: []int{2, 4}},
	{file: "no_rows.csv", comma: true, cols: []col{{"Time", "min", "", -1}, {"UV", "mAU", "", 0}}, facts: []string{"separator: comma", "header: line 1", "rows: none"}},
	{file: "no_rows_units.csv", meta: "1 Run=stopped before the first point", cols: []col{{"Time", "min", "", -1}, {"UV", "mAU", "", 0}}, facts: []string{"header: line 2", "units: line 3"}},
	{file: "no_rows_text.csv", refusal: &refusal{1, 0, "a header with no rows of numbers below it, but something else", "DataLine"}},
	{file: "no_rows_names.csv", refusal: &refusal{0, 0, "no rows of numbers found", "rows need numbers"}},
	{file: "no_rows_names.csv", options: Options{HeaderLine: 1}, cols: []col{{"A", "", "", -1}, {"B", "", "", -1}, {"C", "", "", -1}}},
	{file: "separator_said.csv", cols: []col{{"Time", "min", "0 1", -1}, {"UV", "mAU", "1.5 2.5", 0}}, facts: []string{"separator: semicolon, as the first line says"}},
	{file: "comma_for_both.csv", refusal: &refusal{2, 0, "4 cells below 2 names", "export with semicolons"}},
	{file: "date_and_clock.csv", cols: []col{{"Date", "", "2024-03-31T13:00:00.5Z|2024-03-31T13:00:01.5Z|2024-04-01T00:00:02.5Z", -1}, {"Clock", "s", "46800.5 46801.5 2.5", 0}, {"UV", "mAU", "1.5 2.5 3.5", 0}}},
	{file: "blanks_and_brackets.txt", meta: "1 =a table with blanks between the cells", cols: []col{{"Time", "min", "0 1", -1}, {"UV_280", "mAU", "1.5 2.5", 0}}},
	{file: "numbers_for_names.csv", cols: []col{{"Time", "", "0 1", -1}, {"280", "", "1 2", 0}, {"260", "", "2 3", 0}}},
	{file: "fault_in_first_cell.csv", refusal: &refusal{2, 1, `"start" in column "Time" is not a number`, "correct the cell"}},
	{file: "step_first.csv", cols: []col{{"Step", "", "load|load|wash", 1}, {"Time", "min", "0 1 2", -1}, {"UV", "mAU", "1.5 2.5 3.5", 1}}},
	{file: "one_column.csv", cols: []col{{"UV", "mAU", "1.5 2.5", -1}}},
	{file: "one_row.csv", comma: true, cols: []col{{"Time", "min", "0", -1}, {"UV", "mAU", "1.5", 0}}},
	{file: "all_missing.csv", cols: []col{{"Time", "min", "- -", -1}, {"UV", "mAU", "- -", 0}}},
	{file: "only_blanks.csv", refusal: &refusal{0, 0, "the file is empty", "export it again"}},
	{file: "prose.txt", refusal: &refusal{0, 0, "no rows of numbers found", "rows need numbers"}},
	{file: "binary.bin", refusal: &refusal{1, 0, "binary data", "as text"}},
	{file: "empty_rows.csv", cols: []col{{"Time", "min", "0 1 2", -1}, {"UV", "mAU", "1.5 2.5 3.5", 0}}, lines: []int{2, 4, 6}, facts: []string{"rows of empty cells: 2 left out"}},
}

func numbers(t *testing.T, s string) []float64 {
	var v []float64
	for _, f := range strings.Fields(s) {
		x := math.NaN()
		if f != "-" {
			var err error
			if x, err = strconv.ParseFloat(f, 64); err != nil {
				t.Fatal(err)
			}
		}
		v = append(v, x)
	}
	return v
}

func sameNumbers(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if math.Float64bits(a[i]) != math.Float64bits(b[i]) && !(math.IsNaN(a[i]) && math.IsNaN(b[i])) {
			return false
		}
	}
	return true
}

// entries writes entries as the table above does.
func entries(es []source.Entry) string {
	var s []string
	for _, e := range es {
		s = append(s, fmt.Sprintf("%d %s=%s", e.Line, e.Key, e.Value))
	}
	return strings.Join(s, "|")
}

// checkColumns compares columns with what is wanted.
func checkColumns(t *testing.T, got []source.Column, want []col) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%d columns, want %d: %v", len(got), len(want), got)
		return
	}
	for j, w := range want {
		g := got[j]
		if g.Name != w.name || g.Unit != w.unit || g.Axis != w.axis {
			t.Errorf("column %d: %q in %q, axis %d; want %q in %q, axis %d", j+1, g.Name, g.Unit, g.Axis, w.name, w.unit, w.axis)
		}
		switch {
		case g.Texts != nil:
			if have := strings.Join(g.Texts, "|"); have != w.cells {
				t.Errorf("column %q: %q, want %q", w.name, have, w.cells)
			}
		case g.Times != nil:
			var have []string
			for _, m := range g.Times {
				have = append(have, m.Format(time.RFC3339Nano))
			}
			if strings.Join(have, "|") != w.cells {
				t.Errorf("column %q: %q, want %q", w.name, have, w.cells)
			}
		default:
			if !sameNumbers(g.Values, numbers(t, w.cells)) {
				t.Errorf("column %q: %v, want %s", w.name, g.Values, w.cells)
			}
		}
	}
}

func hasFact(facts []source.Fact, want string) bool {
	what, part, _ := strings.Cut(want, ": ")
	for _, f := range facts {
		if f.What == what && strings.Contains(f.Value, part) {
			return true
		}
	}
	return false
}

func load(t testing.TB, file string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func checkRefusal(t *testing.T, err error, want refusal) {
	t.Helper()
	var e Error
	if !errors.As(err, &e) {
		t.Errorf("%v, want a refusal with %q", err, want.problem)
		return
	}
	if e.Line != want.line || e.Column != want.column || !strings.Contains(e.Problem, want.problem) || !strings.Contains(e.Remedy, want.remedy) {
		t.Errorf("line %d, column %d: %s; %s\nwant line %d, column %d, %q and %q", e.Line, e.Column, e.Problem, e.Remedy, want.line, want.column, want.problem, want.remedy)
	}
}

func TestFiles(t *testing.T) {
	seen := map[string]bool{"README.md": true, "fuzz": true}
	for _, tc := range files {
		seen[tc.file] = true
		t.Run(tc.file, func(t *testing.T) {
			r, err := ReadAll(load(t, tc.file), tc.options, task.Default())
			if tc.refusal != nil {
				checkRefusal(t, err, *tc.refusal)
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			table := r.File.Tables[0]
			checkColumns(t, table.Columns, tc.cols)
			if got := entries(table.Meta); got != tc.meta {
				t.Errorf("preamble %q, want %q", got, tc.meta)
			}
			if got := entries(table.Notes); got != tc.notes {
				t.Errorf("notes %q, want %q", got, tc.notes)
			}
			var dropped []int
			for _, d := range table.Dropped {
				dropped = append(dropped, d.Line)
			}
			if !reflect.DeepEqual(dropped, tc.dropped) {
				t.Errorf("dropped lines %v, want %v", dropped, tc.dropped)
			}
			for row, line := range tc.lines {
				if got := table.Line(row); got != line {
					t.Errorf("row %d is on line %d, want %d", row, got, line)
				}
			}
			for _, f := range tc.facts {
				if !hasFact(r.File.Facts, f) {
					t.Errorf("no fact %q in %v", f, r.File.Facts)
				}
			}
		})
	}
	all, err := os.ReadDir("testdata")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		if !seen[f.Name()] {
			t.Errorf("testdata/%s is read by no test", f.Name())
		}
	}
}

// TestTwins reads the same files with other line ends and encodings, which must
// change nothing.
func TestTwins(t *testing.T) {
	for _, tc := range files {
		data := load(t, tc.file)
		switch tc.file {
		case "windows1252.csv", "superscripts.csv", "two_encodings.csv", "binary.bin", "mixed_line_ends.csv", "only_blanks.csv":
			continue // the bytes or the line ends are the matter
		}
		plain := bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
		crlf := bytes.ReplaceAll(plain, []byte("\n"), []byte("\r\n"))
		twins := map[string][]byte{
			"CRLF":               crlf,
			"CR":                 bytes.ReplaceAll(plain, []byte("\n"), []byte("\r")),
			"UTF-16LE with mark": wide(plain, false), "UTF-16BE with mark": wide(plain, true),
			"UTF-16LE": wide(plain, false)[2:], "UTF-16BE": wide(plain, true)[2:], "UTF-16LE, CRLF": wide(crlf, false),
			"without the last line end": bytes.TrimSuffix(plain, []byte("\n")),
			"with mark":                 append([]byte("\xef\xbb\xbf"), plain...),
		}
		want := tc.cols
		for name, twin := range twins {
			t.Run(tc.file+" "+name, func(t *testing.T) {
				r, err := ReadAll(twin, tc.options, task.Default())
				if tc.refusal != nil {
					checkRefusal(t, err, *tc.refusal)
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				w := append([]col(nil), want...)
				if strings.Contains(name, "CR") { // line ends within a cell are kept as they are
					for j := range w {
						end := "\r\n"
						if name == "CR" {
							end = "\r"
						}
						w[j].cells = strings.ReplaceAll(w[j].cells, "\n", end)
					}
				}
				checkColumns(t, r.File.Tables[0].Columns, w)
				if strings.HasPrefix(name, "UTF-16") && tc.options.Encoding == "" {
					for _, f := range r.File.Facts { // without a mark it is a guess
						if f.What == "encoding" && f.Guessed != (name == "UTF-16LE" || name == "UTF-16BE") {
							t.Errorf("encoding: %+v", f)
						}
					}
				}
				for row, line := range tc.lines {
					if got := r.File.Tables[0].Line(row); got != line {
						t.Errorf("row %d is on line %d, want %d", row, got, line)
					}
				}
			})
		}
		if tc.comma {
			t.Run(tc.file+" decimal comma", func(t *testing.T) {
				twin := bytes.ReplaceAll(bytes.ReplaceAll(plain, []byte(","), []byte(";")), []byte("."), []byte(","))
				r, err := ReadAll(twin, tc.options, task.Default())
				if err != nil {
					t.Fatal(err)
				}
				checkColumns(t, r.File.Tables[0].Columns, want)
			})
		}
	}
}

// TestUsed reads every file again with the options the first reading returned:
// the result is the same, and nothing of them is guessed.
func TestUsed(t *testing.T) {
	for _, tc := range files {
		if tc.refusal != nil {
			continue
		}
		data := load(t, tc.file)
		a, err := ReadAll(data, tc.options, task.Default())
		if err != nil {
			t.Fatal(tc.file, err)
		}
		b, err := ReadAll(data, a.Used, task.Default())
		if err != nil {
			t.Errorf("%s: %v: %+v", tc.file, err, a.Used)
			continue
		}
		if len(a.File.Tables[0].Columns) != len(b.File.Tables[0].Columns) {
			t.Errorf("%s: other columns with %+v", tc.file, a.Used)
			continue
		}
		for j, c := range a.File.Tables[0].Columns {
			d := b.File.Tables[0].Columns[j]
			if c.Name != d.Name || c.Unit != d.Unit || c.Axis != d.Axis || !sameNumbers(c.Values, d.Values) || !reflect.DeepEqual(c.Texts, d.Texts) || !reflect.DeepEqual(c.Times, d.Times) {
				t.Errorf("%s: column %q is another one with %+v", tc.file, c.Name, a.Used)
			}
		}
		for _, f := range b.File.Facts {
			for _, what := range []string{"separator", "decimal mark", "thousands mark", "encoding", "header", "units", "time form"} {
				if f.What == what && f.Guessed {
					t.Errorf("%s: %s still guessed with %+v", tc.file, what, a.Used)
				}
			}
		}
	}
}

// TestProcessors reads long tables with one processor and with several.
func TestProcessors(t *testing.T) {
	var b bytes.Buffer
	b.WriteString("Time (min),UV (mAU),Remark,Moment\n")
	for i := range 40000 {
		fmt.Fprintf(&b, "%d.5,%d,", i, i*7919%1000)
		switch {
		case i%5000 == 4999:
			b.WriteString("\"a remark\nof two lines, with commas\"")
		case i%100 == 0:
			fmt.Fprintf(&b, "step %d", i/100)
		}
		fmt.Fprintf(&b, ",2024-01-%02d %02d:00:00\n", 1+i%28, i%24)
		if i%3000 == 0 {
			b.WriteString("\n# a comment\n")
		}
	}
	b.WriteString("End,of,data\n")
	for _, data := range [][]byte{b.Bytes(), wide(b.Bytes(), false), append(bytes.Clone(b.Bytes()), "1,2,3,4,5,6\n2,x\n"...)} {
		before := runtime.GOMAXPROCS(1)
		one, errOne := ReadAll(data, Options{}, task.Default())
		for _, n := range []int{2, 5} {
			runtime.GOMAXPROCS(n)
			many, errMany := ReadAll(data, Options{}, task.Default())
			if fmt.Sprint(errOne) != fmt.Sprint(errMany) || fmt.Sprintf("%v", one) != fmt.Sprintf("%v", many) {
				t.Errorf("%d processors give another result: %v, %v", n, errOne, errMany)
			}
		}
		runtime.GOMAXPROCS(before)
		if errOne == nil {
			table := one.File.Tables[0]
			if n := len(table.Columns[0].Values); n != 40000 {
				t.Errorf("%d rows", n)
			}
			// 1 header, i rows, 14 or fewer comments of two lines, a line more for each remark of two lines.
			if got, want := table.Line(20000), 2+20000+7*2+4; got != want {
				t.Errorf("row 20000 on line %d, want %d", got, want)
			}
			if len(table.Notes) != 15 {
				t.Errorf("%d notes", len(table.Notes))
			}
		}
	}
}

// stopped is a monitor whose work shall stop.
type stopped struct{ ctx context.Context }

func (s stopped) Context() context.Context  { return s.ctx }
func (s stopped) Progress(string, int, int) {}

func TestStop(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Read(load(t, "plain.csv"), Options{}, stopped{ctx}); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// watcher counts what it is told.
type watcher struct {
	task.Monitor
	calls, last, total atomic.Int64
}

func (w *watcher) Progress(_ string, done, total int) {
	w.calls.Add(1)
	w.last.Store(int64(done))
	w.total.Store(int64(total))
}

// TestProgress reads a file of 60 MB, which shows how far it is, and a short
// one, which does not.
func TestProgress(t *testing.T) {
	row := "1" + strings.Repeat(" ", 600) + ",2.5\n"
	for _, tc := range []struct {
		rows  int
		shown bool
	}{{100_000, true}, {1000, false}} {
		w := &watcher{Monitor: task.Default()}
		f, err := Read([]byte("Time,UV\n"+strings.Repeat(row, tc.rows)), Options{}, w)
		if err != nil {
			t.Fatal(err)
		}
		if n := len(f.Tables[0].Columns[1].Values); n != tc.rows {
			t.Errorf("%d rows, want %d", n, tc.rows)
		}
		if shown := w.calls.Load() > 2; shown != tc.shown || w.last.Load() != w.total.Load() {
			t.Errorf("%d rows: %d reports, the last %d of %d", tc.rows, w.calls.Load(), w.last.Load(), w.total.Load())
		}
	}
}

// checkRead reads any bytes: no panic, columns that hold together, and a
// refusal with a remedy.
func checkRead(t *testing.T, data []byte) {
	r, err := ReadAll(data, Options{}, task.Default())
	if err != nil {
		var e Error
		if !errors.As(err, &e) || e.Problem == "" || e.Remedy == "" {
			t.Errorf("%#v", err)
		}
		if lines := bytes.Count(data, []byte{'\n'}) + bytes.Count(data, []byte{'\r'}) + 1; e.Line < 0 || e.Line > lines || e.Column < 0 {
			t.Errorf("line %d, column %d of %d lines: %v", e.Line, e.Column, lines, err)
		}
		return
	}
	table := r.File.Tables[0]
	if len(table.Columns) == 0 {
		t.Error("no columns")
	}
	names := map[string]bool{}
	rows := -1
	for j, c := range table.Columns {
		if names[c.Name] {
			t.Errorf("%q twice", c.Name)
		}
		names[c.Name] = true
		n := len(c.Values) + len(c.Texts) + len(c.Times)
		if c.Axis == j || c.Axis < -1 || c.Axis >= len(table.Columns) {
			t.Fatalf("axis %d of column %d", c.Axis, j)
		}
		if c.Missing < 0 || c.Missing > n || c.Censored > c.Missing {
			t.Errorf("%d of %d missing, %d censored", c.Missing, n, c.Censored)
		}
		if c.Axis >= 0 {
			if a := table.Columns[c.Axis]; len(a.Values)+len(a.Texts)+len(a.Times) != n {
				t.Errorf("column %q is %d long, its axis is not", c.Name, n)
			}
		}
		rows = max(rows, n)
	}
	if rows*len(table.Columns) > 2*len(data)+64 {
		t.Errorf("%d rows of %d columns out of %d bytes", rows, len(table.Columns), len(data))
	}
	last := 0
	for row := range rows {
		line := table.Line(row)
		if line <= last {
			t.Errorf("row %d on line %d, the one before on %d", row, line, last)
			break
		}
		last = line
	}
	again, err := ReadAll(data, Options{}, task.Default())
	if err != nil || fmt.Sprintf("%v", again) != fmt.Sprintf("%v", r) {
		t.Errorf("another result when read again: %v", err)
	}
	// The options that were found must give the same table.
	used, err := ReadAll(data, r.Used, task.Default())
	if err != nil {
		t.Errorf("refused with the options found, %+v: %v", r.Used, err)
	} else if a, b := fmt.Sprintf("%v", table.Columns), fmt.Sprintf("%v", used.File.Tables[0].Columns); a != b {
		t.Errorf("with the options found, %+v:\n%s\nwas\n%s", r.Used, b, a)
	}
}
