package mqtt

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"benchtally/agent/record"
	"benchtally/mqtt/broker"
)

// described are the document of all topics, for an invented press, and one JSON
// Schema for each topic's messages.
//
//go:embed asyncapi.json schema
var described embed.FS

// What stands in the document for the press and its broker.
const (
	exampleBase   = "riverside/hose-shop/north-bench"
	exampleBroker = "broker.riverside.example:8883"
)

// Topics are all topics of a press: the retained ones, then those of the events
// in the order of the kinds.
func Topics() []Topic {
	all := append([]Topic{Status}, retained[:]...)
	for _, k := range record.Kinds() {
		all = append(all, EventTopic(k))
	}
	return all
}

// Schema is the JSON Schema, draft 2020-12, of the messages of a topic. It refers
// to no other file. There is one for each of Topics; others are an error that
// names those.
func Schema(t Topic) ([]byte, error) {
	if !slices.Contains(Topics(), t) {
		return nil, fmt.Errorf("there is no topic %q: want one of %s", t, strings.Join(names(Topics()), ", "))
	}
	return indented(inline(describedFile("schema/" + string(t) + ".json"))), nil
}

// Document is the AsyncAPI 3.0 document of a press's topics, which refers to no
// other file: with its base, and with the brokers of an address as
// broker.Access has it. Without any an invented one stands there.
func Document(base, brokers string) ([]byte, error) {
	if err := ValidBase(base); err != nil {
		return nil, err
	}
	text := describedFile("asyncapi.json")
	if brokers != "" {
		hosts, tls, err := broker.Access{Address: brokers}.Hosts()
		if err != nil {
			return nil, err
		}
		text = withServers(text, hosts, tls)
	}
	text = bytes.ReplaceAll(inline(text), []byte(exampleBase), []byte(base))
	return indented(text), nil
}

// withServers puts a server for each host in the place of the invented one.
func withServers(text []byte, hosts []string, tls bool) []byte {
	var doc struct {
		Servers struct {
			Broker json.RawMessage `json:"broker"`
		} `json:"servers"`
	}
	must(json.Unmarshal(text, &doc))
	var all []byte
	for i, host := range hosts {
		one := bytes.ReplaceAll(doc.Servers.Broker, []byte(exampleBroker), []byte(host))
		if !tls {
			one = bytes.ReplaceAll(one, []byte(`"secure-mqtt"`), []byte(`"mqtt"`))
		}
		if i > 0 {
			all = fmt.Appendf(all, `, "broker%d": `, i+1)
		}
		all = append(all, one...)
	}
	return bytes.Replace(text, doc.Servers.Broker, all, 1)
}

// A reference to a schema, by its file or by its name and perhaps a definition in
// it, and the beginning of a schema that has no place within another.
var (
	reference = regexp.MustCompile(`\{\s*"\$ref":\s*"(?:schema/([a-z/]+)\.json|urn:benchtally:([a-z:]+):v1(?:#/\$defs/(\w+))?)"\s*\}`)
	preamble  = regexp.MustCompile(`"\$schema":\s*"[^"]*",\s*"\$id":\s*"[^"]*",\s*`)
)

// inline puts schemas in the place of the references to them. The text keeps the
// order of its keys, which makes it readable.
func inline(text []byte) []byte {
	return reference.ReplaceAllFunc(text, func(found []byte) []byte {
		part := reference.FindSubmatch(found)
		name := string(part[1]) + strings.ReplaceAll(string(part[2]), ":", "/")
		schema := describedFile("schema/" + name + ".json")
		if definition := string(part[3]); definition != "" {
			var s struct {
				Defs map[string]json.RawMessage `json:"$defs"`
			}
			must(json.Unmarshal(schema, &s))
			schema = s.Defs[definition]
		}
		return inline(preamble.ReplaceAll(schema, nil))
	})
}

func describedFile(name string) []byte {
	b, err := described.ReadFile(name)
	must(err)
	return b
}

func indented(text []byte) []byte {
	var b bytes.Buffer
	must(json.Indent(&b, bytes.TrimSpace(text), "", "  "))
	b.WriteByte('\n')
	return b.Bytes()
}

func names(topics []Topic) []string {
	all := make([]string, len(topics))
	for i, t := range topics {
		all[i] = string(t)
	}
	return all
}

// must is for what can only fail if a file of ours is wrong. Tests read each.
func must(err error) {
	if err != nil {
		panic("mqtt: the description of the topics: " + err.Error())
	}
}
