package mathml

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"
)

// inside returns the markup without its frame.
func inside(t *testing.T, latex string, displayed bool) string {
	t.Helper()
	s := Convert(latex, displayed)
	_, s, ok := strings.Cut(s, "<semantics>")
	s, _, ok2 := strings.Cut(s, "<annotation")
	if !ok || !ok2 {
		t.Fatalf("%s: not converted: %s", latex, Convert(latex, displayed))
	}
	return s
}

// Expected strings are written by hand from MathML Core (W3C) and, for thin
// spaces, The TeXbook, chapter 18.
func TestConvert(t *testing.T) {
	for _, tc := range []struct{ latex, want string }{
		{`x`, `<mi>x</mi>`},
		{`12.5`, `<mn>12.5</mn>`},
		{`5{,}000`, `<mn>5,000</mn>`},
		{`1.`, `<mrow><mn>1</mn><mo>.</mo></mrow>`},
		{`a-b`, `<mrow><mi>a</mi><mo>−</mo><mi>b</mi></mrow>`},
		{`x_1`, `<msub><mi>x</mi><mn>1</mn></msub>`},
		{`x^{12}`, `<msup><mi>x</mi><mn>12</mn></msup>`},
		{`x^12`, `<mrow><msup><mi>x</mi><mn>1</mn></msup><mn>2</mn></mrow>`},
		{`x_i^2`, `<msubsup><mi>x</mi><mi>i</mi><mn>2</mn></msubsup>`},
		{`x^2_i`, `<msubsup><mi>x</mi><mi>i</mi><mn>2</mn></msubsup>`},
		{`f'`, `<msup><mi>f</mi><mo>′</mo></msup>`},
		{`{}^{14}C`, `<mrow><msup><mrow></mrow><mn>14</mn></msup><mi>C</mi></mrow>`},
		{`\frac{a}{b}`, `<mfrac><mi>a</mi><mi>b</mi></mfrac>`},
		{`\frac12`, `<mfrac><mn>1</mn><mn>2</mn></mfrac>`},
		{`\dfrac{1}{2}`, `<mstyle displaystyle="true"><mfrac><mn>1</mn><mn>2</mn></mfrac></mstyle>`},
		{`\sqrt{x}`, `<msqrt><mi>x</mi></msqrt>`},
		{`\sqrt[3]{x}`, `<mroot><mi>x</mi><mn>3</mn></mroot>`},
		{`\mu`, `<mi>μ</mi>`},
		{`\varepsilon`, `<mi>ε</mi>`},
		{`\Delta p`, `<mrow><mi mathvariant="normal">Δ</mi><mi>p</mi></mrow>`},
		{`a \cdot b \times c`, `<mrow><mi>a</mi><mo>⋅</mo><mi>b</mi><mo>×</mo><mi>c</mi></mrow>`},
		{`a \le b < c \ge d \approx e`, `<mrow><mi>a</mi><mo>≤</mo><mi>b</mi><mo>&lt;</mo><mi>c</mi><mo>≥</mo><mi>d</mi><mo>≈</mo><mi>e</mi></mrow>`},
		{`(a)`, `<mrow><mo stretchy="false">(</mo><mi>a</mi><mo stretchy="false">)</mo></mrow>`},
		{`\left(a\right)`, `<mrow><mo stretchy="true">(</mo><mi>a</mi><mo stretchy="true">)</mo></mrow>`},
		{`\left. a \right|_0`, `<msub><mrow><mi>a</mi><mo stretchy="true">|</mo></mrow><mn>0</mn></msub>`},
		{`\left\{ a \right\}`, `<mrow><mo stretchy="true">{</mo><mi>a</mi><mo stretchy="true">}</mo></mrow>`},
		{`\bigl( a`, `<mrow><mo stretchy="true" minsize="1.2em" maxsize="1.2em">(</mo><mi>a</mi></mrow>`},
		{`8 \ln 2`, `<mrow><mn>8</mn><mspace width="0.1667em"/><mi>ln</mi><mo>&#8289;</mo><mspace width="0.1667em"/><mn>2</mn></mrow>`},
		{`\exp(x)`, `<mrow><mi>exp</mi><mo>&#8289;</mo><mo stretchy="false">(</mo><mi>x</mi><mo stretchy="false">)</mo></mrow>`},
		{`\log_{10} x`, `<mrow><msub><mi>log</mi><mn>10</mn></msub><mo>&#8289;</mo><mspace width="0.1667em"/><mi>x</mi></mrow>`},
		{`\operatorname{erf} x`, `<mrow><mi>erf</mi><mo>&#8289;</mo><mspace width="0.1667em"/><mi>x</mi></mrow>`},
		{`\text{column volume}`, "<mtext>column\u00a0volume</mtext>"},
		{`\text{95\,\%}`, "<mtext>95\u00a0%</mtext>"},
		{`\mathrm{HETP}`, `<mi>HETP</mi>`},
		{`\mathrm{d}t`, `<mrow><mi mathvariant="normal">d</mi><mi>t</mi></mrow>`},
		{`\mathrm{kg\,m^{-3}}`, `<mrow><mi mathvariant="normal">k</mi><mi mathvariant="normal">g</mi><mspace width="0.1667em"/><msup><mi mathvariant="normal">m</mi><mrow><mo>−</mo><mn>3</mn></mrow></msup></mrow>`},
		{`\mathbf{v}`, `<mi>𝐯</mi>`},
		{`\bar{u}`, `<mover accent="true"><mi>u</mi><mo stretchy="false">¯</mo></mover>`},
		{`\dot V`, `<mover accent="true"><mi>V</mi><mo stretchy="false">˙</mo></mover>`},
		{`\overline{ab}`, `<mover accent="true"><mrow><mi>a</mi><mi>b</mi></mrow><mo stretchy="true">‾</mo></mover>`},
		{`\underset{x}{y}`, `<munder><mi>y</mi><mi>x</mi></munder>`},
		{`a\,b\;c\!d\quad e`, `<mrow><mi>a</mi><mspace width="0.1667em"/><mi>b</mi><mspace width="0.2778em"/><mi>c</mi><mspace width="-0.1667em"/><mi>d</mi><mspace width="1em"/><mi>e</mi></mrow>`},
		{`\sum_{i=1}^n i`, `<mrow><msubsup><mo>∑</mo><mrow><mi>i</mi><mo>=</mo><mn>1</mn></mrow><mi>n</mi></msubsup><mi>i</mi></mrow>`},
		{`\sum\limits_i i`, `<mrow><munder><mo>∑</mo><mi>i</mi></munder><mi>i</mi></mrow>`},
		{`\int_0^\infty f`, `<mrow><msubsup><mo>∫</mo><mn>0</mn><mi mathvariant="normal">∞</mi></msubsup><mi>f</mi></mrow>`},
		{`25\,^\circ\mathrm{C}`, `<mrow><mn>25</mn><mspace width="0.1667em"/><msup><mrow></mrow><mi mathvariant="normal">∘</mi></msup><mi mathvariant="normal">C</mi></mrow>`},
		{`5\,\%`, `<mrow><mn>5</mn><mspace width="0.1667em"/><mi mathvariant="normal">%</mi></mrow>`},
		{"a % not shown\nb", `<mrow><mi>a</mi><mi>b</mi></mrow>`},
		{`\frobnicate{x}`, `<mrow><mtext class="unknown">\frobnicate</mtext><mi>x</mi></mrow>`},
		{`\begin{pmatrix}a&b\\c&d\end{pmatrix}`, `<mrow><mo stretchy="true">(</mo><mtable><mtr><mtd class="center"><mi>a</mi></mtd><mtd class="center"><mi>b</mi></mtd></mtr><mtr><mtd class="center"><mi>c</mi></mtd><mtd class="center"><mi>d</mi></mtd></mtr></mtable><mo stretchy="true">)</mo></mrow>`},
		{`\begin{aligned}a&=b\\[2pt]\end{aligned}`, `<mrow><mtable displaystyle="true" class="aligned"><mtr><mtd class="right"><mi>a</mi></mtd><mtd class="left"><mrow><mo>=</mo><mi>b</mi></mrow></mtd></mtr></mtable></mrow>`},
		{`\begin{equation}a\label{eq:1}\end{equation}`, `<mi>a</mi>`},
		{``, `<mrow></mrow>`},
	} {
		if got := inside(t, tc.latex, false); got != tc.want {
			t.Errorf("%s\n got %s\nwant %s", tc.latex, got, tc.want)
		}
	}
}

func TestDisplayed(t *testing.T) {
	for _, tc := range []struct{ latex, want string }{
		{`\sum_{i}^n`, `<munderover><mo>∑</mo><mi>i</mi><mi>n</mi></munderover>`},
		{`\int_0^1`, `<msubsup><mo>∫</mo><mn>0</mn><mn>1</mn></msubsup>`},
		{`\lim_x`, `<mrow><munder><mi>lim</mi><mi>x</mi></munder><mo>&#8289;</mo></mrow>`},
		{`\sum\nolimits_i`, `<msub><mo>∑</mo><mi>i</mi></msub>`},
	} {
		if got := inside(t, tc.latex, true); got != tc.want {
			t.Errorf("%s\n got %s\nwant %s", tc.latex, got, tc.want)
		}
	}
	if got := Convert("x", true); !strings.HasPrefix(got, `<math display="block">`) {
		t.Error(got)
	}
}

// A mistake shows the source, escaped, with the reason.
func TestMistakes(t *testing.T) {
	for _, tc := range []struct{ latex, reason string }{
		{`\frac{a}{b`, "} is missing"},
		{`a}`, "} has no place here"},
		{`x^`, "something is missing"},
		{`x_1_2`, "two subscripts"},
		{`x^1^2`, "two superscripts"},
		{`\left( a`, `\right is missing`},
		{`\left x`, "no delimiter"},
		{`a & b`, "&amp; has no place here"},
		{`\begin{tikzpicture}\end{tikzpicture}`, "not known"},
		{`\begin{matrix}a\end{align}`, `without its \end`},
		{strings.Repeat("{", 500), "nested too deeply"},
		{strings.Repeat(`\hat`, 500) + "x", "nested too deeply"},
		{`\frac{<b>`, "&lt;b&gt;"},
	} {
		got := Convert(tc.latex, false)
		if !strings.HasPrefix(got, `<code class="latex" title="`) || !strings.Contains(got, tc.reason) {
			t.Errorf("%s: %s, want %q in it", tc.latex, got, tc.reason)
		}
	}
}

// The source stays with the formula, for those who copy it.
func TestAnnotation(t *testing.T) {
	got := Convert(` a < b `, false)
	if !strings.Contains(got, `<annotation encoding="application/x-tex">a &lt; b</annotation>`) {
		t.Error(got)
	}
}

func FuzzConvert(f *testing.F) {
	for _, s := range []string{
		`N = 5.545 \left( \frac{t_R}{w_{1/2}} \right)^2`, `\frac{\Delta p}{L} = 150 \frac{\mu u (1-\varepsilon)^2}{\varepsilon^3 d^2}`,
		`\begin{cases} a & b \\ c \end{cases}`, `\text{a $ b}`, `\mathrm{\alpha}`, `\mathbf{<}`, `\bigl`, `\`, `x'^2`, "\x00\xff", `\begin{array}{l}`,
	} {
		f.Add(s, true)
	}
	f.Fuzz(func(t *testing.T, latex string, displayed bool) {
		got := Convert(latex, displayed)
		d := xml.NewDecoder(strings.NewReader(got))
		for {
			_, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%q: %v in %s", latex, err, got)
			}
		}
		if got != Convert(latex, displayed) {
			t.Fatalf("%q: not the same twice", latex)
		}
	})
}
