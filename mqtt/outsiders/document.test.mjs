// The AsyncAPI document, read by the parser that most tools for it stand on.
import assert from "node:assert/strict";
import { mkdtempSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import test from "node:test";
import { Parser, fromFile } from "@asyncapi/parser";

import { benchtally, file, golden, read, topics } from "./messages.mjs";

const base = "riverside/hose-shop/north-bench";

// The one thing that may be said: that there is a newer version of AsyncAPI.
const newer = "asyncapi-latest-version";

// urn lets the parser find schemas by their names, as they refer to one another.
const urn = {
  schema: "urn",
  order: 1,
  canRead: true,
  read: (uri) => read(`mqtt/schema/${uri.toString().replace(/^urn:benchtally:/, "").replace(/:v1$/, "").replaceAll(":", "/")}.json`),
};

const said = (diagnostics) => diagnostics.filter((d) => d.code !== newer).map((d) => `${d.code} at ${d.path.join("/")}: ${d.message}`);

// look wants the document to be one of all topics at which the press only sends.
function look(document, diagnostics, at) {
  assert.deepEqual(said(diagnostics), []);
  assert.ok(document, "no document comes of it");
  assert.deepEqual(document.channels().all().map((c) => c.address()).sort(), topics.map((t) => `${at}/${t}`).sort());
  assert.equal(document.operations().all().length, topics.length);
  for (const operation of document.operations().all()) {
    const address = operation.channels().all()[0].address();
    assert.ok(operation.isSend() && !operation.isReceive(), address);
    const { qos, retain } = operation.bindings().get("mqtt").value();
    assert.deepEqual([address, qos, retain], [address, 1, !address.startsWith(`${at}/event/`)]);
    const [message] = operation.messages().all();
    assert.equal(`${at}/${message.name()}`, address);
    assert.equal(message.payload().type(), "object");
    assert.ok(message.payload().title());
  }
  for (const server of document.servers().all()) {
    const { lastWill } = server.bindings().get("mqtt").value();
    assert.deepEqual([lastWill.topic, lastWill.qos, lastWill.retain], [`${at}/status`, 1, true]);
    assert.equal(JSON.parse(lastWill.message).online, false);
  }
}

test("the document and its schemas, as they stand in the tree", async () => {
  const parser = new Parser({ __unstable: { resolver: { resolvers: [urn] } } });
  const { document, diagnostics } = await fromFile(parser, file("mqtt/asyncapi.json")).parse();
  look(document, diagnostics, base);
  for (const message of document.messages().all()) {
    assert.deepEqual(message.examples().all()[0].payload(), JSON.parse(golden(message.name())), message.name());
  }
});

test("the document of a press, as the program prints it, with no help", async () => {
  const dir = mkdtempSync(join(tmpdir(), "press-"));
  const config = join(dir, "bench.toml");
  writeFileSync(join(dir, "specs.csv"), "spec,cage,diameter,plus,minus,setting\nhs-08,C-21,1.200in,0.005in,0.005in,120\n");
  writeFileSync(config, `
[press]
name = "south-bench"
topic = "lakeside/hoses"
[switch]
line = "GPIO17"
[caliper]
port = "/dev/caliper0"
[mqtt]
broker = "tcp://192.0.2.7 tcp://192.0.2.8:1884"
[[specs]]
file = "specs.csv"
`);
  const { document, diagnostics } = await new Parser().parse(benchtally("topics", "--config", config));
  look(document, diagnostics, "lakeside/hoses/south-bench");
  assert.deepEqual(document.servers().all().map((s) => [s.host(), s.protocol(), s.protocolVersion()]), [
    ["192.0.2.7:1883", "mqtt", "3.1.1"],
    ["192.0.2.8:1884", "mqtt", "3.1.1"],
  ]);
});

test("a document that is wrong is told to be", async () => {
  const wrong = read("mqtt/asyncapi.json").replace('"action": "send"', '"action": "push"');
  const { document, diagnostics } = await new Parser({ __unstable: { resolver: { resolvers: [urn] } } })
    .parse(wrong, { source: file("mqtt/asyncapi.json") });
  assert.equal(document, undefined);
  assert.ok(said(diagnostics).some((s) => s.includes("action")), said(diagnostics).join("\n"));
});
