package wire

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"
	"time"
)

func frames(parts ...string) [][]byte {
	f := make([][]byte, len(parts))
	for i, p := range parts {
		f[i] = []byte(p)
	}
	return f
}

// header is that of a client; the digests below were made from it with
// another implementation:
//
//	printf '%s{}{}{"code":"1+1"}' "$header" | openssl dgst -sha256 -hmac KEY
const (
	header  = `{"msg_id":"a_1","session":"a","username":"u","date":"2024-05-06T07:08:09.123456Z","msg_type":"execute_request","version":"5.3"}`
	content = `{"code":"1+1"}`
	key     = "5ca1ab1e-c0de"
	digest  = "607954f0f8fd550095c42d2718726c37d15267faf0dddca7129c23693f8d469a"
)

func TestDecode(t *testing.T) {
	for _, tc := range []struct {
		name   string
		frames [][]byte
		key    string
		want   error
	}{
		{"signed", frames("id", Delimiter, digest, header, "{}", "{}", content), key, nil},
		{"two identities and a buffer", frames("a", "b", Delimiter, digest, header, "{}", "{}", content, "\x00"), key, nil},
		{"no key, no signature", frames(Delimiter, "", header, "{}", "{}", content), "", nil},
		{"no key, any signature", frames(Delimiter, "xyz", header, "{}", "{}", content), "", nil},
		{"no frames", nil, key, ErrDelimiter},
		{"no delimiter", frames("id", digest, header, "{}", "{}", content), key, ErrDelimiter},
		{"delimiter alone", frames(Delimiter), key, ErrFrames},
		{"content missing", frames(Delimiter, digest, header, "{}", "{}"), key, ErrFrames},
		{"another key", frames(Delimiter, digest, header, "{}", "{}", content), "other", ErrSignature},
		{"signature empty", frames(Delimiter, "", header, "{}", "{}", content), key, ErrSignature},
		{"signature cut", frames(Delimiter, digest[:63], header, "{}", "{}", content), key, ErrSignature},
		{"content changed", frames(Delimiter, digest, header, "{}", "{}", `{"code":"2+1"}`), key, ErrSignature},
		{"signature before header", frames(Delimiter, "", "junk", "{}", "{}", content), key, ErrSignature},
		{"header not JSON", frames(Delimiter, "", "junk", "{}", "{}", content), "", ErrHeader},
		{"header a list", frames(Delimiter, "", "[]", "{}", "{}", content), "", ErrHeader},
		{"header null", frames(Delimiter, "", "null", "{}", "{}", content), "", ErrHeader},
		{"header without type", frames(Delimiter, "", `{"msg_id":"a"}`, "{}", "{}", content), "", ErrHeader},
	} {
		m, err := Decode(tc.frames, []byte(tc.key))
		if !errors.Is(err, tc.want) {
			t.Errorf("%s: error %v, want %v", tc.name, err, tc.want)
			continue
		}
		if err != nil {
			continue
		}
		var x Execute
		if err := m.Read(&x); err != nil || x.Code != "1+1" || m.Header.Type != ExecuteRequest {
			t.Errorf("%s: %+v, content %+v, %v", tc.name, m.Header, x, err)
		}
	}
}

func TestEncodeSignsAsOthersDo(t *testing.T) {
	h := Header{ID: "a_1", Session: "a", Username: "u", Date: "2024-05-06T07:08:09.123456Z", Type: ExecuteRequest, Version: "5.3"}
	got, err := Encode([]byte(key), h, nil, nil, map[string]string{"code": "1+1"})
	if err != nil {
		t.Fatal(err)
	}
	want := frames(Delimiter, digest, header, "{}", "{}", content)
	for i := range want {
		if !bytes.Equal(got[i], want[i]) {
			t.Errorf("frame %d is %s, want %s", i, got[i], want[i])
		}
	}
}

func TestRoundTrip(t *testing.T) {
	h := Header{ID: "b_2", Session: "b", Type: InspectReply, Date: Date(time.Unix(1e9, 0)), Version: Version}
	f, err := Encode([]byte(key), h, json.RawMessage(header), nil, Inspection{Reply: Reply{Status: OK}}, []byte{0, 1})
	if err != nil {
		t.Fatal(err)
	}
	m, err := Decode(append([][]byte{[]byte("id")}, f...), []byte(key))
	if err != nil {
		t.Fatal(err)
	}
	if m.Header != h || len(m.Buffers) != 1 || string(m.Identities[0]) != "id" {
		t.Errorf("got back %+v", m)
	}
	if want := `{"status":"ok","found":false,"data":null,"metadata":null}`; string(m.Content) != want {
		t.Errorf("content %s, want %s", m.Content, want)
	}
}

func TestUnknownFieldsArePassedOver(t *testing.T) {
	m, err := Decode(frames(Delimiter, "", `{"msg_type":"from_the_future","subshell_id":7}`, "not looked at", "{}", `{"code":"x","more":[1]}`), nil)
	if err != nil || m.Header.Type != "from_the_future" {
		t.Fatalf("%+v, %v", m, err)
	}
	var x Execute
	if err := m.Read(&x); err != nil || x.Code != "x" {
		t.Errorf("%+v, %v", x, err)
	}
}

func TestErrorReplyKeepsAnEmptyTraceback(t *testing.T) {
	got, err := json.Marshal(Reply{Status: Failed, Name: "n", Value: "v", Traceback: []string{}})
	if want := `{"status":"error","ename":"n","evalue":"v","traceback":[]}`; err != nil || string(got) != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func TestHeaderTime(t *testing.T) {
	want := time.Date(2024, 5, 6, 7, 8, 9, 123e6, time.UTC)
	for _, date := range []string{
		"2024-05-06T07:08:09.123Z", "2024-05-06T07:08:09.123000+00:00",
		"2024-05-06T09:08:09.123+0200", "2024-05-06T07:08:09.123000",
	} {
		if got, ok := (Header{Date: date}).Time(); !ok || !got.Equal(want) {
			t.Errorf("%s is %v, %v", date, got, ok)
		}
	}
	if _, ok := (Header{Date: "yesterday"}).Time(); ok {
		t.Error("yesterday is no date")
	}
	if got := Date(want.In(time.FixedZone("", 7200))); got != "2024-05-06T07:08:09.123000Z" {
		t.Error(got)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(Delimiter)) // a delimiter with nothing behind it
	f.Add(bytes.Join(frames("id", Delimiter, "", header, "{}", "{}", content), []byte{0}))
	f.Add(bytes.Join(frames(Delimiter, "", `{"msg_type":1}`, "", "", ""), []byte{0}))
	f.Fuzz(func(t *testing.T, b []byte) {
		split := bytes.Split(b, []byte{0})
		m, err := Decode(split, nil)
		if err != nil {
			return
		}
		if m.Header.Type == "" {
			t.Error("accepted a message without a type")
		}
		var x Execute
		_ = m.Read(&x) // any error, no panic
		// What was accepted goes out again as a parent and comes back.
		out, err := Encode([]byte(key), m.Header, m.RawHeader, nil, struct{}{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Decode(out, []byte(key)); err != nil {
			t.Error(err)
		}
		if _, err := Decode(split, []byte(key)); err == nil {
			t.Error("accepted a message without our signature")
		}
	})
}
