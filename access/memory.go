package access

import "sync"

// Memory is a Store that forgets everything with the process.
type Memory struct {
	mu    sync.Mutex
	state *State
}

// Read gives the people as they stand.
func (m *Memory) Read() (*State, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.state == nil {
		m.state = &State{Format: StateFormat}
	}
	return m.state, nil
}

// Update changes the people.
func (m *Memory) Update(fn func(*State) error) error {
	old, _ := m.Read()
	m.mu.Lock()
	defer m.mu.Unlock()
	next, err := Edit(old, fn)
	if err == nil {
		m.state = next
	}
	return err
}
