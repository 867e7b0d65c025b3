// Package markdown escapes plain text for Markdown.
package markdown

import "strings"

var escaper = strings.NewReplacer(
	`\`, `\\`, "`", "\\`", "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`, "<", `\<`, ">", `\>`,
	"|", `\|`, "#", `\#`, "~", `\~`, "$", `\$`, "&", `\&`)

// Escape returns text that Markdown shows as it is.
func Escape(s string) string { return escaper.Replace(s) }
