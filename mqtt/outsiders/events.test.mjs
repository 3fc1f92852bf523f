// The events, read as CloudEvents in structured mode by the SDK of that project.
import assert from "node:assert/strict";
import test from "node:test";
import { CloudEvent, MQTT, ValidationError } from "cloudevents";

import { golden, topics } from "./messages.mjs";

const base = "riverside/hose-shop/north-bench";
const store = "5d0c1f6a72e94b38-1e7b90c4d2f35a86";

// receive is an event as a subscriber gets it. MQTT 3.1.1 tells no content type,
// so the subscriber says what it knows from the document.
const receive = (payload) => MQTT.toEvent({ PUBLISH: { "Content Type": "application/cloudevents+json" }, headers: {}, body: payload, payload });

const kinds = topics.filter((t) => t.startsWith("event/")).map((t) => t.slice("event/".length));

test("there are events of all kinds", () => assert.equal(kinds.length, 24));

for (const kind of kinds) {
  test(`event of the kind ${kind}`, () => {
    const payload = golden(`event/${kind}`);
    const event = receive(payload);
    assert.ok(event instanceof CloudEvent);
    assert.equal(event.validate(), true);
    const record = JSON.parse(payload).data;
    assert.equal(record.kind, kind);
    assert.deepEqual(
      {
        specversion: event.specversion, id: event.id, source: event.source, type: event.type,
        datacontenttype: event.datacontenttype, sequence: event.sequence, data: event.data,
      },
      {
        specversion: "1.0", id: `${store}-${record.seq}`, source: `/${base}`, type: `benchtally.${kind}.v1`,
        datacontenttype: "application/json", sequence: String(record.seq).padStart(20, "0"), data: record,
      },
    );
    // The SDK keeps thousandths of a second, the record has millionths.
    assert.equal(Date.parse(event.time), Date.parse(record.at));
    assert.deepEqual(Object.keys(JSON.parse(JSON.stringify(event))).sort(), Object.keys(JSON.parse(payload)).sort());
  });
}

test("what is no event is refused", () => {
  const whole = JSON.parse(golden("event/stroke"));
  assert.equal(receive(JSON.stringify(whole)).validate(), true);
  for (const wrong of [{ type: undefined }, { source: undefined }]) {
    assert.throws(() => receive(JSON.stringify({ ...whole, ...wrong })).validate(), ValidationError, JSON.stringify(wrong));
  }
});
