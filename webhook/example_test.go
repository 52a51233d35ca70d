package webhook_test

import (
	"fmt"
	"io"
	"net/http"
	"time"

	"example.org/asfound/webhook"
)

// A program that is told of decisions checks each notice before it believes it.
func ExampleVerify() {
	const secret, address = "the secret that was shown once", "https://example.org/told"
	http.HandleFunc("POST /told", func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, 64<<10))
		if err == nil {
			err = webhook.Verify(r.Header, body, address, secret, time.Now())
		}
		if err != nil {
			http.Error(w, "not believed", http.StatusBadRequest)
			return
		}
		fmt.Printf("%s\n", body)
	})
}
