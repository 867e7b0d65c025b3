package cell

import (
	"fmt"
	"go/token"
)

// What a cell may hold. Beyond these the compiler takes more than a second, in which
// it cannot be interrupted, or more stack than there is.
const (
	maxTokens    = 100_000
	maxNesting   = 1_000 // brackets within brackets
	maxOperators = 5_000 // in one expression
	maxPrefixes  = 100   // of a type: pointers to pointers, slices of slices
	maxElse      = 1_000 // in one chain
)

// tooLarge returns where a cell goes beyond what the compiler can take, or nil.
func tooLarge(toks []tok) (at *tok, why string) {
	if len(toks) > maxTokens {
		return &toks[maxTokens], fmt.Sprintf("the cell is longer than %d words and signs; put data into a file and read it (record.Read, os.ReadFile)", maxTokens)
	}
	type level struct{ operators, elses int }
	levels := []level{{}}
	prefixes := 0
	for i := range toks {
		t := &toks[i]
		here := &levels[len(levels)-1]
		switch t.Token {
		case token.LPAREN, token.LBRACK, token.LBRACE:
			if levels = append(levels, level{}); len(levels) > maxNesting {
				return t, fmt.Sprintf("brackets are nested more than %d deep", maxNesting)
			}
		case token.RPAREN, token.RBRACK, token.RBRACE:
			if len(levels) > 1 {
				levels = levels[:len(levels)-1]
			}
		case token.SEMICOLON:
			*here = level{}
		case token.COMMA, token.COLON:
			here.operators = 0
		case token.ELSE:
			if here.elses++; here.elses > maxElse {
				return t, fmt.Sprintf("more than %d else in one chain; write a switch", maxElse)
			}
		default:
			if t.IsOperator() {
				if here.operators++; here.operators > maxOperators {
					return t, fmt.Sprintf("more than %d operators in one expression; add the terms up in a loop", maxOperators)
				}
			}
		}
		switch t.Token {
		case token.MUL, token.AND, token.LBRACK, token.RBRACK, token.CHAN, token.ARROW, token.MAP, token.FUNC:
			if prefixes++; prefixes > 2*maxPrefixes {
				return t, "the type is a pointer to a pointer, or a slice of slices, without end"
			}
		default:
			prefixes = 0
		}
	}
	return nil, ""
}
