package kernel

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
)

// A Connection is what a front end writes into the connection file: where to
// listen and how to sign.
type Connection struct {
	Transport string `json:"transport"` // tcp or ipc
	IP        string `json:"ip"`
	Shell     int    `json:"shell_port"`
	IOPub     int    `json:"iopub_port"`
	Stdin     int    `json:"stdin_port"`
	Control   int    `json:"control_port"`
	Heartbeat int    `json:"hb_port"`
	Scheme    string `json:"signature_scheme"`
	Key       string `json:"key"` // "" means that nothing is signed

	CurvePublicKey string `json:"curve_publickey,omitempty"`
	CurveSecretKey string `json:"curve_secretkey,omitempty"`
}

// ReadConnection reads a connection file.
func ReadConnection(file string) (Connection, error) {
	b, err := os.ReadFile(file)
	if err != nil {
		return Connection{}, fmt.Errorf("connection file: %w", err)
	}
	var c Connection
	if err := json.Unmarshal(b, &c); err != nil {
		return Connection{}, fmt.Errorf("connection file %s: %w", file, err)
	}
	if err := c.check(); err != nil {
		return Connection{}, fmt.Errorf("connection file %s: %w", file, err)
	}
	for _, p := range []struct {
		name string
		port int
	}{
		{"shell_port", c.Shell}, {"iopub_port", c.IOPub}, {"stdin_port", c.Stdin},
		{"control_port", c.Control}, {"hb_port", c.Heartbeat},
	} {
		if p.port < 1 || p.port > 65535 {
			return Connection{}, fmt.Errorf("connection file %s: %s is %d; it must be 1 to 65535", file, p.name, p.port)
		}
	}
	return c, nil
}

func (c Connection) check() error {
	if c.CurvePublicKey != "" || c.CurveSecretKey != "" {
		return errors.New("it asks for encryption with CURVE, which this kernel does not have: start it without, on this computer alone")
	}
	if c.Transport != "tcp" && c.Transport != "ipc" {
		return fmt.Errorf("transport %q is not known: it must be tcp or ipc", c.Transport)
	}
	if c.IP == "" {
		return errors.New("ip is missing")
	}
	if c.Key != "" && c.Scheme != "" && c.Scheme != "hmac-sha256" {
		return fmt.Errorf("signature_scheme %q is not known: it must be hmac-sha256", c.Scheme)
	}
	return nil
}
