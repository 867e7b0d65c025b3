package text

import "testing"

// Names and units as headings write them; what they mean is read off by hand.
func TestHeadings(t *testing.T) {
	for heading, want := range map[string][2]string{
		"Time (min)":                      {"Time", "min"},
		"Flow (_mL/min)":                  {"Flow", "mL/min"},
		"Flow_mL/min":                     {"Flow", "mL/min"},
		"Flow_mL_min":                     {"Flow", "mL/min"},
		"Flow_mL_per_min":                 {"Flow", "mL/min"},
		"Flow mL / min":                   {"Flow", "mL/min"},
		"Flow rate_L/h":                   {"Flow rate", "L/h"},
		"Flow_1_mL/min":                   {"Flow_1", "mL/min"},
		"_mS/cm":                          {"_mS/cm", "mS/cm"},
		"Cond_mS/cm":                      {"Cond", "mS/cm"},
		"Cond_mS_cm":                      {"Cond", "mS/cm"},
		"c_g/L":                           {"c", "g/L"},
		"u_cm_h":                          {"u", "cm/h"},
		"UV_mAU":                          {"UV", "mAU"},
		"UV_280_nm":                       {"UV_280_nm", ""},
		"UV_280_nm_mAU":                   {"UV_280_nm", "mAU"},
		"T_deg_C":                         {"T", "deg C"},
		"Time_min":                        {"Time", "min"},
		"t_s":                             {"t", "s"},
		"Volume_L":                        {"Volume", "L"},
		"Vol_mL":                          {"Vol", "mL"},
		"P_min":                           {"P_min", ""},
		"Pressure, min":                   {"Pressure, min", ""},
		"Rate, g/min":                     {"Rate, g/min", ""},
		"drops/min":                       {"drops/min", ""},
		"Feed_drops/min":                  {"Feed_drops/min", ""},
		"Zeit/min":                        {"Zeit", "min"},
		"V/mL":                            {"V", "mL"},
		"κ/mS/cm":                         {"κ", "mS/cm"},
		"P/bar":                           {"P", "bar"},
		"Pressure bar(g)":                 {"Pressure", "bar(g)"},
		"Temperature deg C":               {"Temperature", "deg C"},
		"mL/min":                          {"mL/min", ""},
		"Sample_ID":                       {"Sample_ID", ""},
		"Volume flow":                     {"Volume flow", ""},
		"conductivity at 25 °C":           {"conductivity at 25 °C", ""},
		"Absorbance_280nm_(mAU)":          {"Absorbance_280nm_", "mAU"},
		"Conductivity, compensated mS/cm": {"Conductivity, compensated", "mS/cm"},
	} {
		name, unit := NameAndUnit(heading)
		if name != want[0] || unit != want[1] {
			t.Errorf("%q: name %q, unit %q; want %q, %q", heading, name, unit, want[0], want[1])
		}
	}
}

// What is no time and no volume is no axis.
func TestAxisNames(t *testing.T) {
	for _, tc := range []struct {
		name, unit string
		want       bool
	}{
		{"Time", "", true}, {"Run time", "", true}, {"Volume", "", true}, {"Anything", "min", true},
		{"Volume flow", "", false}, {"Volume rate", "", false}, {"Flow", "mL/min", false}, {"Flow_mL", "", false}, {"Pressure", "", false},
	} {
		if got := axisName(tc.name, tc.unit); got != tc.want {
			t.Errorf("%q in %q is an axis: %v", tc.name, tc.unit, got)
		}
	}
}
