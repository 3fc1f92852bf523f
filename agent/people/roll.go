package people

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
)

// Roll is an operators file: a person in each row, in its order. Its methods
// leave it as it was when they return an error.
type Roll []entry

// entry is one row.
type entry struct {
	Person
	pin   pinHash
	badge badgeHash
}

// columns of an operators file.
var columns = []string{"operator", "name", "lead", "pin", "badge"}

// People are those in the roll, in its order.
func (r Roll) People() []Person {
	list := make([]Person, len(r))
	for i, e := range r {
		list[i] = e.Person
	}
	return list
}

// Find is the operator with a sign; the error says who there is instead.
func (r Roll) Find(id string) (Person, error) {
	i, err := r.find(id)
	if err != nil {
		return Person{}, err
	}
	return r[i].Person, nil
}

// Means are those by which an operator can sign in.
func (r Roll) Means(id string) (pin, badge bool) {
	if i := r.index(id); i >= 0 {
		return r[i].pin.key != "", r[i].badge.sum != ""
	}
	return false, false
}

// Add takes in a person, who can not yet sign in.
func (r *Roll) Add(p Person) error {
	if err := CheckID(p.ID); err != nil {
		return err
	}
	if err := CheckName(p.Name); err != nil {
		return err
	}
	if r.index(p.ID) >= 0 {
		return fmt.Errorf("there is an operator %s already: take another sign", p.ID)
	}
	*r = append(*r, entry{Person: p})
	return nil
}

// SetPIN gives an operator a PIN in place of any old one.
func (r Roll) SetPIN(id, pin string) error {
	i, err := r.find(id)
	if err != nil {
		return err
	}
	if err := CheckPIN(pin); err != nil {
		return err
	}
	r[i].pin = newPIN(pin)
	return nil
}

// SetBadge gives an operator a badge in place of any old one and returns its
// token, which is kept nowhere.
func (r Roll) SetBadge(id string) (token string, err error) {
	i, err := r.find(id)
	if err != nil {
		return "", err
	}
	token, r[i].badge = newBadge()
	return token, nil
}

// Remove takes an operator out.
func (r *Roll) Remove(id string) error {
	i, err := r.find(id)
	if err != nil {
		return err
	}
	*r = slices.Delete(*r, i, i+1)
	return nil
}

// CSV is the file's text.
func (r Roll) CSV() []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write(columns) // a buffer takes everything
	for _, e := range r {
		lead := ""
		if e.Lead {
			lead = "yes"
		}
		_ = w.Write([]string{e.ID, e.Name, lead, e.pin.String(), e.badge.String()})
	}
	w.Flush()
	return b.Bytes()
}

func (r Roll) index(id string) int {
	return slices.IndexFunc(r, func(e entry) bool { return e.ID == id })
}

func (r Roll) find(id string) (int, error) {
	i := r.index(id)
	switch {
	case i >= 0:
		return i, nil
	case len(r) == 0:
		return 0, fmt.Errorf("there is no operator %s, nor any other", id)
	}
	signs := make([]string, len(r))
	for i, e := range r {
		signs[i] = e.ID
	}
	return 0, fmt.Errorf("there is no operator %s: there are %s", id, strings.Join(signs, ", "))
}

// holder is who has a badge. All badges are looked at, whoever it is.
func (r Roll) holder(h badgeHash) (found entry, ok bool) {
	for _, e := range r {
		if e.badge.is(h) {
			found, ok = e, true
		}
	}
	return found, ok
}
