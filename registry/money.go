package registry

import (
	"encoding/json"
	"strings"

	"github.com/govalues/decimal"
)

// Money is an amount in one currency, as it was written: "1234.50" and
// "1234.5" are equal but keep their digits. In JSON the amount is a string, so
// that no digit is lost on the way.
type Money struct {
	Amount   decimal.Decimal `json:"amount"`
	Currency string          `json:"currency"` // ISO 4217 letters, withdrawn ones too
}

// ParseMoney reads an amount such as "110" or "110.50".
func ParseMoney(amount, currency string) (Money, error) {
	d, err := decimal.Parse(amount)
	if err != nil {
		return Money{}, Refuse(CodeInvalid, "Write it with a point and no spaces, such as 110.50.", "%s is not an amount of money", quoteShort(amount))
	}
	return Money{Amount: d, Currency: currency}, nil
}

// IsZero reports whether no amount is given.
func (m Money) IsZero() bool { return m.Currency == "" && m.Amount.IsZero() }

// String writes the amount and the currency, such as "110.50 GBP".
func (m Money) String() string {
	if m.IsZero() {
		return "0"
	}
	return m.Amount.String() + " " + m.Currency
}

// Add sums two amounts. CodeInvalid when the currencies differ.
func (m Money) Add(o Money) (Money, error) {
	if m.IsZero() {
		return o, nil
	}
	if o.IsZero() {
		return m, nil
	}
	if m.Currency != o.Currency {
		return Money{}, Refuse(CodeInvalid, "Convert one of them first and say at what rate.", "%s and %s are in different currencies", m, o)
	}
	sum, err := m.Amount.Add(o.Amount)
	if err != nil {
		return Money{}, Refuse(CodeInvalid, "", "the sum of %s and %s is too large", m, o)
	}
	return Money{Amount: sum, Currency: m.Currency}, nil
}

// Exceeds says whether m is more than the limit. An amount in another currency
// exceeds it, because nobody agreed to a rate.
func (m Money) Exceeds(limit Money) bool {
	if m.Amount.IsZero() {
		return false
	}
	return m.Currency != limit.Currency && !limit.IsZero() || m.Amount.Cmp(limit.Amount) > 0
}

// UnmarshalJSON takes the amount as a string or a number.
func (m *Money) UnmarshalJSON(data []byte) error {
	var raw struct {
		Amount   json.RawMessage `json:"amount"`
		Currency string          `json:"currency"`
	}
	if err := strictJSON(data, &raw); err != nil {
		return err
	}
	text := string(raw.Amount)
	if len(text) > 1 && text[0] == '"' {
		if err := json.Unmarshal(raw.Amount, &text); err != nil {
			return err
		}
	}
	parsed, err := ParseMoney(text, raw.Currency)
	if err != nil {
		return err
	}
	*m = parsed
	return nil
}

func (fs *faults) money(pointer string, m Money) {
	if m.IsZero() {
		return
	}
	if m.Amount.IsNeg() {
		fs.add(pointer+"/amount", m.Amount.String(), "0 or more", "The amount cannot be negative", "")
	}
	if len(m.Currency) != 3 || strings.Trim(m.Currency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		fs.add(pointer+"/currency", m.Currency, "three capital letters of ISO 4217, such as GBP", "The currency is missing or not known", "")
	}
}
