package sparkplug

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Namespace is the first level of every topic of Sparkplug 3.0
// (tck-id-topic-structure-namespace-a).
const Namespace = "spBv1.0"

// MaxID is how many bytes an id may have; our own, so that a topic stays far
// below MQTT's 65,535.
const MaxID = 128

// MessageType is the level of a topic that says what a message is.
type MessageType string

// The message types that an edge node sends or is sent, without DCMD: it has no
// outputs that a host could write.
const (
	NBIRTH MessageType = "NBIRTH"
	NDEATH MessageType = "NDEATH"
	NDATA  MessageType = "NDATA"
	NCMD   MessageType = "NCMD"
	DBIRTH MessageType = "DBIRTH"
	DDEATH MessageType = "DDEATH"
	DDATA  MessageType = "DDATA"
	STATE  MessageType = "STATE" // of a host
)

// Topic is a topic of Sparkplug. Topics can be compared with ==.
type Topic struct {
	Type   MessageType
	Group  string // "" for STATE
	Node   string // "" for STATE
	Device string // of DBIRTH, DDEATH and DDATA; "" for all others
	Host   string // of STATE; "" for all others
}

// String is the topic as MQTT has it, spBv1.0/group/type/node,
// spBv1.0/group/type/node/device or spBv1.0/STATE/host. It does not check it.
func (t Topic) String() string {
	switch t.Type {
	case STATE:
		return Namespace + "/" + string(t.Type) + "/" + t.Host
	case DBIRTH, DDEATH, DDATA:
		return Namespace + "/" + t.Group + "/" + string(t.Type) + "/" + t.Node + "/" + t.Device
	case NBIRTH, NDEATH, NDATA, NCMD:
	}
	return Namespace + "/" + t.Group + "/" + string(t.Type) + "/" + t.Node
}

// ParseTopic reads a topic of one of the message types above, with ids that are
// valid. An MQTT client knows its own command with
// t == Topic{Type: NCMD, Group: group, Node: node}.
func ParseTopic(topic string) (Topic, error) {
	t, err := parseTopic(topic)
	if err != nil {
		return Topic{}, fmt.Errorf("topic %.160q: %w", topic, err)
	}
	return t, nil
}

func parseTopic(topic string) (Topic, error) {
	levels := strings.SplitN(topic, "/", 6) // one more than there may be
	if levels[0] != Namespace {
		return Topic{}, fmt.Errorf("it does not begin with %s/", Namespace)
	}
	if len(levels) == 3 && levels[1] == string(STATE) {
		return Topic{Type: STATE, Host: levels[2]}, idFault("host id", levels[2])
	}
	if len(levels) < 4 {
		return Topic{}, fmt.Errorf("%d levels are neither a host's state nor a node's message", len(levels))
	}
	t := Topic{Type: MessageType(levels[2]), Group: levels[1], Node: levels[3]}
	err := idFault("group id", t.Group)
	if err == nil {
		err = idFault("edge node id", t.Node)
	}
	switch t.Type {
	case NBIRTH, NDEATH, NDATA, NCMD:
		if len(levels) != 4 {
			return Topic{}, fmt.Errorf("%s has no device", t.Type)
		}
		return t, err
	case DBIRTH, DDEATH, DDATA:
		if len(levels) != 5 {
			return Topic{}, fmt.Errorf("%s has one device", t.Type)
		}
		t.Device = levels[4]
		if err == nil {
			err = idFault("device id", t.Device)
		}
		return t, err
	case STATE:
	}
	return Topic{}, fmt.Errorf("message type %.40q is not known", levels[2])
}

func idFault(what, id string) error {
	if err := ValidID(id); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}

// ValidID checks an id of a group, edge node, device or host: 1 to MaxID bytes
// of UTF-8 without +, / and # (tck-id-intro-group-id-chars and its like), and
// without what MQTT 3.1.1, section 1.5.3, says no text should have: control
// characters and Unicode's non-characters. The error tells the first fault.
func ValidID(id string) error {
	switch {
	case id == "":
		return errors.New("it is empty")
	case len(id) > MaxID:
		return fmt.Errorf("it is %d bytes long, at most %d are allowed", len(id), MaxID)
	case !utf8.ValidString(id):
		return fmt.Errorf("%.40q is not UTF-8", id)
	}
	for _, r := range id {
		switch {
		case strings.ContainsRune("+/#", r):
			return fmt.Errorf("%.40q may not hold %c", id, r)
		case unicode.IsControl(r) || r >= 0xFDD0 && r <= 0xFDEF || r&0xFFFE == 0xFFFE:
			return fmt.Errorf("%.40q may not hold %U", id, r)
		}
	}
	return nil
}
