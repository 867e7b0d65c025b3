package wire

import (
	"encoding/json"
	"go/version"
	"runtime"
	"strings"
)

// A Type is the name of a kind of message.
type Type string

// Requests and what comes back. The version of the protocol that brought a
// message is given where it is later than 5.0.
const (
	ExecuteRequest    Type = "execute_request"
	ExecuteReply      Type = "execute_reply"
	InspectRequest    Type = "inspect_request"
	InspectReply      Type = "inspect_reply"
	CompleteRequest   Type = "complete_request"
	CompleteReply     Type = "complete_reply"
	HistoryRequest    Type = "history_request"
	HistoryReply      Type = "history_reply"
	IsCompleteRequest Type = "is_complete_request"
	IsCompleteReply   Type = "is_complete_reply"
	ConnectRequest    Type = "connect_request" // deprecated since 5.1
	ConnectReply      Type = "connect_reply"
	CommInfoRequest   Type = "comm_info_request" // 5.1
	CommInfoReply     Type = "comm_info_reply"
	KernelInfoRequest Type = "kernel_info_request" // on control since 5.5
	KernelInfoReply   Type = "kernel_info_reply"
	ShutdownRequest   Type = "shutdown_request"
	ShutdownReply     Type = "shutdown_reply"
	InterruptRequest  Type = "interrupt_request" // 5.3
	InterruptReply    Type = "interrupt_reply"
	CommOpen          Type = "comm_open"
	CommMsg           Type = "comm_msg"
	CommClose         Type = "comm_close"
	InputRequest      Type = "input_request" // on stdin, from the kernel
	InputReply        Type = "input_reply"

	CreateSubshellRequest Type = "create_subshell_request" // 5.5
	CreateSubshellReply   Type = "create_subshell_reply"
	DeleteSubshellRequest Type = "delete_subshell_request"
	DeleteSubshellReply   Type = "delete_subshell_reply"
	ListSubshellRequest   Type = "list_subshell_request"
	ListSubshellReply     Type = "list_subshell_reply"
)

// What is published to every front end.
const (
	Status            Type = "status"
	ExecuteInput      Type = "execute_input"
	Stream            Type = "stream"
	DisplayData       Type = "display_data"
	UpdateDisplayData Type = "update_display_data" // 5.1
	ExecuteResult     Type = "execute_result"
	Error             Type = "error"
	ClearOutput       Type = "clear_output"
	IOPubWelcome      Type = "iopub_welcome" // 5.5
)

// A State is what the kernel does, in a status message.
type State string

const (
	Starting State = "starting"
	Busy     State = "busy"
	Idle     State = "idle"
)

// An Outcome is the status of a reply.
type Outcome string

const (
	OK      Outcome = "ok"
	Failed  Outcome = "error"
	Aborted Outcome = "aborted" // deprecated in 5.1, and still what front ends look for
)

// Execute is the content of an execute_request.
type Execute struct {
	Code            string            `json:"code"`
	Silent          bool              `json:"silent"`
	StoreHistory    *bool             `json:"store_history"` // absent means: unless silent
	UserExpressions map[string]string `json:"user_expressions"`
	StopOnError     *bool             `json:"stop_on_error"` // absent means true
	AllowStdin      bool              `json:"allow_stdin"`   // the client answers an input_request
}

// A Reply is the part that all replies have; it is a whole reply of an error.
type Reply struct {
	Status    Outcome  `json:"status"`
	Name      string   `json:"ename,omitempty"`
	Value     string   `json:"evalue,omitempty"`
	Traceback []string `json:"traceback,omitzero"`
}

// ExecuteResponse is the content of an execute_reply.
type ExecuteResponse struct {
	Reply
	Count           int            `json:"execution_count"`
	UserExpressions map[string]any `json:"user_expressions"` // Evaluated, or the Reply of an error
	Payload         []struct{}     `json:"payload"`          // deprecated; always empty
}

// Evaluated is what a user expression gives.
type Evaluated struct {
	Reply
	Bundle
}

// Subshells is the content of a list_subshell_reply.
type Subshells struct {
	Reply
	IDs []string `json:"subshell_id"`
}

// Question is the content of an input_request.
type Question struct {
	Prompt   string `json:"prompt"`
	Password bool   `json:"password"` // what is typed is not to be seen
}

// Typed is the content of an input_reply.
type Typed struct {
	Value string `json:"value"`
}

// Cursor is the content of a complete_request or an inspect_request.
type Cursor struct {
	Code   string `json:"code"`
	Pos    *int   `json:"cursor_pos"`   // in Unicode code points since 5.2; absent means the end
	Detail int    `json:"detail_level"` // of an inspection: 0 or 1
}

// Completion is the content of a complete_reply.
type Completion struct {
	Reply
	Matches  []string           `json:"matches"`
	Start    int                `json:"cursor_start"`
	End      int                `json:"cursor_end"`
	Metadata CompletionMetadata `json:"metadata"`
}

// CompletionMetadata says of which kind the matches are.
type CompletionMetadata struct {
	Types []TypedMatch `json:"_jupyter_types_experimental"`
}

// A TypedMatch is one completion with its kind.
type TypedMatch struct {
	Text  string `json:"text"`
	Type  string `json:"type"`
	Start int    `json:"start"`
	End   int    `json:"end"`
}

// Bundle is a value in its representations. It is the content of an
// inspect_reply, a display_data, an update_display_data or an execute_result.
type Bundle struct {
	Data     map[string]json.RawMessage `json:"data"`
	Metadata map[string]json.RawMessage `json:"metadata"`
}

// Inspection is the content of an inspect_reply.
type Inspection struct {
	Reply
	Found bool `json:"found"`
	Bundle
}

// Display is the content of a display_data or an update_display_data.
type Display struct {
	Bundle
	Transient Transient `json:"transient"`
}

// Transient names a display for later updates (5.1).
type Transient struct {
	ID string `json:"display_id,omitempty"`
}

// Result is the content of an execute_result.
type Result struct {
	Count int `json:"execution_count"`
	Bundle
}

// Code is the content of an is_complete_request.
type Code struct {
	Code string `json:"code"`
}

// Completeness is the content of an is_complete_reply.
type Completeness struct {
	Status string `json:"status"` // complete, incomplete, invalid or unknown
	Indent string `json:"indent,omitempty"`
}

// History is the content of a history_request.
type History struct {
	Output  bool   `json:"output"`
	Access  string `json:"hist_access_type"` // range, tail or search
	Session int    `json:"session"`
	Start   int    `json:"start"`
	Stop    int    `json:"stop"`
	N       int    `json:"n"`
	Pattern string `json:"pattern"`
	Unique  bool   `json:"unique"`
}

// HistoryResponse is the content of a history_reply: triples of session,
// line number and input, or input and output.
type HistoryResponse struct {
	Reply
	History [][3]any `json:"history"`
}

// Target is what a comm message is about.
type Target struct {
	ID   string `json:"comm_id"`
	Name string `json:"target_name,omitempty"`
}

// Comms is the content of a comm_info_reply.
type Comms struct {
	Reply
	Comms map[string]Target `json:"comms"`
}

// CommEnd is the content of a comm_close.
type CommEnd struct {
	ID   string   `json:"comm_id"`
	Data struct{} `json:"data"`
}

// Ports is the content of a connect_reply.
type Ports struct {
	Reply
	Shell     int `json:"shell_port"`
	IOPub     int `json:"iopub_port"`
	Stdin     int `json:"stdin_port"`
	Heartbeat int `json:"hb_port"`
	Control   int `json:"control_port"`
}

// KernelInfo is the content of a kernel_info_reply.
type KernelInfo struct {
	Reply
	Protocol       string     `json:"protocol_version"`
	Implementation string     `json:"implementation"`
	Version        string     `json:"implementation_version"`
	Language       Language   `json:"language_info"`
	Banner         string     `json:"banner"`
	Links          []HelpLink `json:"help_links"`
	Features       []string   `json:"supported_features"`
}

// A HelpLink is an entry of the client's help menu, which opens it when asked.
type HelpLink struct {
	Text string `json:"text"`
	URL  string `json:"url"`
}

// Language describes the language of the cells.
type Language struct {
	Name       string `json:"name"`
	Version    string `json:"version"`
	MIMEType   string `json:"mimetype"`
	Extension  string `json:"file_extension"`
	Lexer      string `json:"pygments_lexer"`
	CodeMirror string `json:"codemirror_mode"`
}

// Go describes the language of our cells. The version is that of the language,
// not of a release, since notebooks store it.
func Go() Language {
	release := version.Lang(runtime.Version())
	return Language{Name: "go", Version: strings.TrimPrefix(release, "go"), MIMEType: "text/x-go", Extension: ".go", Lexer: "go", CodeMirror: "go"}
}

// Shutdown is the content of a shutdown_request.
type Shutdown struct {
	Restart bool `json:"restart"`
}

// ShutdownResponse is the content of a shutdown_reply.
type ShutdownResponse struct {
	Reply
	Restart bool `json:"restart"`
}

// StatusContent is the content of a status message.
type StatusContent struct {
	State State `json:"execution_state"`
}

// Input is the content of an execute_input.
type Input struct {
	Code  string `json:"code"`
	Count int    `json:"execution_count"`
}

// Text is the content of a stream message.
type Text struct {
	Name string `json:"name"` // stdout or stderr
	Text string `json:"text"`
}

// Failure is the content of an error message.
type Failure struct {
	Name      string   `json:"ename"`
	Value     string   `json:"evalue"`
	Traceback []string `json:"traceback"` // never null
}

// Clear is the content of a clear_output.
type Clear struct {
	Wait bool `json:"wait"`
}

// Welcome is the content of an iopub_welcome.
type Welcome struct {
	Subscription string `json:"subscription"`
}
