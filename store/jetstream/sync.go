package jetstream

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"time"

	"example.org/asfound/registry"
)

// CheckSync asks one server, at its monitoring address such as
// http://nats1:8222, whether it brings every write to its disk before it
// acknowledges it, and gives its name. Clients cannot see that. Codes:
// CodeRefused when it does not, CodeBusy when nothing answers there that says
// so.
func CheckSync(ctx context.Context, monitor string) (server string, err error) {
	var state struct {
		Config *struct {
			SyncInterval time.Duration `json:"sync_interval"` // in nanoseconds
			SyncAlways   bool          `json:"sync_always"`
		} `json:"config"`
	}
	var about struct {
		Name string `json:"server_name"`
	}
	base := strings.TrimSuffix(monitor, "/")
	if err := askMonitor(ctx, base+"/varz", &about); err != nil || about.Name == "" {
		return "", silentMonitor(monitor)
	}
	if err := askMonitor(ctx, base+"/jsz?config=true", &state); err != nil || state.Config == nil {
		return about.Name, silentMonitor(monitor)
	}
	if !state.Config.SyncAlways {
		return about.Name, registry.Refuse(registry.CodeRefused, "Write sync_interval: always into the part jetstream of its configuration, and restart it.",
			"The server %s brings what it acknowledged to its disk only every %s; a power cut would lose what came since", about.Name, state.Config.SyncInterval)
	}
	return about.Name, nil
}

func silentMonitor(monitor string) error {
	return registry.Refuse(registry.CodeBusy, "Write the address after \"http\" in the server's configuration, such as http://nats1:8222.",
		"No server of a cluster says at %s how it writes", HideSecrets(monitor))
}

func askMonitor(ctx context.Context, url string, out any) error {
	ctx, cancel := context.WithTimeout(ctx, requestWithin)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	return json.NewDecoder(io.LimitReader(answer.Body, 1<<20)).Decode(out)
}
