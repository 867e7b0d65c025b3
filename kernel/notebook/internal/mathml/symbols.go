package mathml

// letters are commands that stand for one letter, set in italics unless upright.
var letters = map[string]string{
	"alpha": "α", "beta": "β", "gamma": "γ", "delta": "δ", "epsilon": "ϵ", "varepsilon": "ε", "zeta": "ζ",
	"eta": "η", "theta": "θ", "vartheta": "ϑ", "iota": "ι", "kappa": "κ", "lambda": "λ", "mu": "μ", "nu": "ν",
	"xi": "ξ", "pi": "π", "varpi": "ϖ", "rho": "ρ", "varrho": "ϱ", "sigma": "σ", "varsigma": "ς", "tau": "τ",
	"upsilon": "υ", "phi": "ϕ", "varphi": "φ", "chi": "χ", "psi": "ψ", "omega": "ω", "ell": "ℓ", "partial": "∂",
}

// uprights are commands that stand for an upright sign.
var uprights = map[string]string{
	"Gamma": "Γ", "Delta": "Δ", "Theta": "Θ", "Lambda": "Λ", "Xi": "Ξ", "Pi": "Π", "Sigma": "Σ",
	"Upsilon": "Υ", "Phi": "Φ", "Psi": "Ψ", "Omega": "Ω", "infty": "∞", "nabla": "∇", "hbar": "ℏ",
	"emptyset": "∅", "degree": "°", "circ": "∘", "%": "%", "$": "$", "#": "#", "_": "_", "&": "&",
	"ldots": "…", "dots": "…", "cdots": "⋯", "vdots": "⋮", "ddots": "⋱", "prime": "′", "Re": "ℜ", "Im": "ℑ",
}

// operators are commands that stand for an operator or a relation.
var operators = map[string]string{
	"cdot": "⋅", "times": "×", "div": "÷", "pm": "±", "mp": "∓", "ast": "∗", "star": "⋆", "bullet": "∙",
	"le": "≤", "leq": "≤", "ge": "≥", "geq": "≥", "leqslant": "⩽", "geqslant": "⩾", "ne": "≠", "neq": "≠",
	"ll": "≪", "gg": "≫", "lt": "<", "gt": ">", "approx": "≈", "sim": "∼", "simeq": "≃", "cong": "≅",
	"equiv": "≡", "propto": "∝", "to": "→", "rightarrow": "→", "leftarrow": "←", "leftrightarrow": "↔",
	"Rightarrow": "⇒", "Leftarrow": "⇐", "Leftrightarrow": "⇔", "implies": "⟹", "iff": "⟺", "mapsto": "↦",
	"uparrow": "↑", "downarrow": "↓", "in": "∈", "notin": "∉", "subset": "⊂", "subseteq": "⊆", "cup": "∪",
	"cap": "∩", "setminus": "∖", "forall": "∀", "exists": "∃", "neg": "¬", "land": "∧", "lor": "∨",
	"colon": ":", "mid": "∣", "parallel": "∥", "perp": "⊥", "oplus": "⊕", "otimes": "⊗", "lesssim": "≲", "gtrsim": "≳",
}

// larges are operators that grow in displayed formulas; those named in limits
// carry their limits above and below there.
var larges = map[string]string{
	"sum": "∑", "prod": "∏", "coprod": "∐", "bigcup": "⋃", "bigcap": "⋂",
	"int": "∫", "iint": "∬", "iiint": "∭", "oint": "∮",
}

var limits = map[string]bool{
	"sum": true, "prod": true, "coprod": true, "bigcup": true, "bigcap": true,
	"lim": true, "max": true, "min": true, "sup": true, "inf": true, "limsup": true, "liminf": true,
}

// functions are commands set upright under their own name.
var functions = map[string]bool{
	"ln": true, "log": true, "lg": true, "exp": true, "sin": true, "cos": true, "tan": true, "cot": true,
	"sec": true, "csc": true, "arcsin": true, "arccos": true, "arctan": true, "sinh": true, "cosh": true,
	"tanh": true, "coth": true, "lim": true, "max": true, "min": true, "sup": true, "inf": true, "arg": true,
	"det": true, "dim": true, "gcd": true, "ker": true, "Pr": true, "limsup": true, "liminf": true,
}

// delimiters may follow \left, \right and the like, and stand alone.
var delimiters = map[string]string{
	"(": "(", ")": ")", "[": "[", "]": "]", "|": "|", "/": "/", ".": "", "<": "⟨", ">": "⟩",
	"{": "{", "}": "}", "lbrace": "{", "rbrace": "}", "lbrack": "[", "rbrack": "]", "\\|": "‖",
	"langle": "⟨", "rangle": "⟩", "lvert": "|", "rvert": "|", "vert": "|", "lVert": "‖", "rVert": "‖", "Vert": "‖",
	"lfloor": "⌊", "rfloor": "⌋", "lceil": "⌈", "rceil": "⌉", "backslash": "\\",
}

// accents are set above what follows; the long ones grow with it.
var accents = map[string]string{
	"bar": "¯", "hat": "^", "tilde": "~", "dot": "˙", "ddot": "¨", "vec": "→", "check": "ˇ", "breve": "˘", "acute": "´", "grave": "`",
	"overline": "‾", "widehat": "^", "widetilde": "~", "overrightarrow": "→", "overbrace": "⏞",
}

var longAccents = map[string]bool{
	"overline": true, "widehat": true, "widetilde": true, "overrightarrow": true, "overbrace": true,
}

// under are set below what follows.
var under = map[string]string{"underline": "_", "underbrace": "⏟"}

// spaces are widths in em (TeXbook, chapter 18: thin 3/18, medium 4/18, thick 5/18).
var spaces = map[string]string{
	",": "0.1667em", ":": "0.2222em", ">": "0.2222em", ";": "0.2778em", "!": "-0.1667em", " ": "0.25em",
	"thinspace": "0.1667em", "enspace": "0.5em", "quad": "1em", "qquad": "2em",
}

// sizes are the factors of the commands for larger delimiters.
var sizes = map[string]string{
	"big": "1.2em", "Big": "1.8em", "bigg": "2.4em", "Bigg": "3em",
}
