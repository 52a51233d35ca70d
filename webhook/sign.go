package webhook

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"example.org/asfound/registry"
)

// Tolerance is how far the moment of a signature may lie from the receiver's
// clock, to either side.
const Tolerance = 5 * time.Minute

// covered are the parts of a request that its signature covers.
var covered = []string{"@method", "@target-uri", "content-type", "content-digest"}

// sign puts the headers of RFC 9421 (HTTP Message Signatures) and RFC 9530
// (Digest Fields) on a request with the given body.
func sign(r *http.Request, body []byte, keyID, secret string, at time.Time) {
	sum := sha256.Sum256(body)
	r.Header.Set("Content-Digest", "sha-256=:"+base64.StdEncoding.EncodeToString(sum[:])+":")
	params := fmt.Sprintf(`("%s");created=%d;keyid=%q;alg="hmac-sha256"`, strings.Join(covered, `" "`), at.Unix(), keyID)
	r.Header.Set("Signature-Input", "asfound="+params)
	r.Header.Set("Signature", "asfound=:"+base64.StdEncoding.EncodeToString(mac(secret, signatureBase(parts(r.Method, r.URL.String(), r.Header), params)))+":")
}

// parts are the covered parts of a request with their values.
func parts(method, target string, h http.Header) (out [][2]string) {
	for _, name := range covered {
		value := ""
		switch name {
		case "@method":
			value = method
		case "@target-uri":
			value = asAsked(target)
		default:
			value = strings.TrimSpace(h.Get(name))
		}
		out = append(out, [2]string{name, value})
	}
	return out
}

// asAsked is an address as it is asked for: without a path it is the path "/"
// (RFC 9110, 4.2.3), and that is what a receiver puts together.
func asAsked(target string) string {
	if u, err := url.Parse(target); err == nil && u.Path == "" {
		u.Path = "/"
		return u.String()
	}
	return target
}

// signatureBase is what is signed (RFC 9421, 2.5).
func signatureBase(parts [][2]string, params string) []byte {
	var b strings.Builder
	for _, p := range parts {
		fmt.Fprintf(&b, "%q: %s\n", p[0], p[1])
	}
	fmt.Fprintf(&b, "%q: %s", "@signature-params", params)
	return []byte(b.String())
}

func mac(secret string, base []byte) []byte {
	m := hmac.New(sha256.New, []byte(secret))
	m.Write(base)
	return m.Sum(nil)
}

// Verify checks a notice that was received: the request's headers, its body,
// and the address under which the sender knows the receiver. CodeTampered when
// it was not signed with the secret or was changed, CodeExpired when it was
// signed longer ago, or later, than Tolerance.
func Verify(h http.Header, body []byte, target, secret string, now time.Time) error {
	sum := sha256.Sum256(body)
	if h.Get("Content-Digest") != "sha-256=:"+base64.StdEncoding.EncodeToString(sum[:])+":" {
		return registry.Refuse(registry.CodeTampered, "Read the body as it came.", "The body is not the one that was signed")
	}
	params, ok := strings.CutPrefix(h.Get("Signature-Input"), "asfound=")
	if !ok || !strings.HasPrefix(params, `("`+strings.Join(covered, `" "`)+`");`) {
		return registry.Refuse(registry.CodeTampered, "Take it from asfound alone.", "The signature does not cover what it must")
	}
	given, err := base64.StdEncoding.DecodeString(strings.TrimSuffix(strings.TrimPrefix(h.Get("Signature"), "asfound=:"), ":"))
	if err != nil || !hmac.Equal(given, mac(secret, signatureBase(parts(http.MethodPost, target, h), params))) {
		return registry.Refuse(registry.CodeTampered, "Compare the secret and the address.", "The signature is not right")
	}
	_, after, _ := strings.Cut(params, ";created=")
	created, _, _ := strings.Cut(after, ";")
	seconds, err := strconv.ParseInt(created, 10, 64)
	if err != nil || now.Sub(time.Unix(seconds, 0)).Abs() > Tolerance {
		return registry.Refuse(registry.CodeExpired, "Compare the clocks.", "The signature was made too long ago, or later than now")
	}
	return nil
}
