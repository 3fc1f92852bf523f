// Holds the npm package sparkplug-payload, a decoder of other people's, to the
// messages in testdata/sparkplug: it has to read from each .hex file what the
// .want file beside it says. The Go tests hold ours to the same files.
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import { createRequire } from "node:module";
import test from "node:test";

const require = createRequire(import.meta.url);
const sparkplug = require("sparkplug-payload").get("spBv1.0");
const { Payload } = require("sparkplug-payload/lib/sparkplugPayloadProto.js").org.eclipse.tahu.protobuf;

const folder = new URL("../../testdata/sparkplug/", import.meta.url);

function bytes(name) {
  const lines = readFileSync(new URL(`${name}.hex`, folder), "utf8").split("\n");
  return Buffer.from(lines.filter((line) => !line.startsWith("#")).join("").replaceAll(/\s/g, ""), "hex");
}

// plain turns what the package returns into what JSON has: whole numbers that a
// double cannot hold become text, bytes hexadecimal digits.
function plain(value) {
  if (value === null || value === undefined) return null;
  if (typeof value === "number" || typeof value === "string" || typeof value === "boolean") return value;
  if (value instanceof Uint8Array) return Buffer.from(value).toString("hex");
  if (Array.isArray(value)) return value.map(plain);
  if (typeof value.toSigned === "function") {
    return Number.isSafeInteger(value.toNumber()) ? value.toNumber() : value.toString();
  }
  return Object.fromEntries(Object.entries(value).filter(([, v]) => v !== undefined).map(([k, v]) => [k, plain(v)]));
}

// A metric without a data type has no value to the package, which does not
// remember births; the field of the message that holds it is told in its place,
// signed, as the types that we write are.
const fields = ["intValue", "longValue", "floatValue", "doubleValue", "booleanValue", "stringValue", "isNull"];

function read(b) {
  const payload = plain(sparkplug.decodePayload(b));
  const raw = Payload.decode(b);
  if (payload.metrics?.length === 0) delete payload.metrics;
  payload.metrics?.forEach((metric, i) => {
    if (metric.type) return;
    delete metric.type;
    delete metric.value;
    for (const field of fields) {
      if (!Object.hasOwn(raw.metrics[i], field)) continue;
      const value = raw.metrics[i][field];
      metric[field] = field === "intValue" ? value | 0 : plain(field === "longValue" ? value.toSigned() : value);
    }
  });
  return payload;
}

const names = readdirSync(folder).filter((file) => file.endsWith(".hex")).map((file) => file.slice(0, -4));

test("there are messages", () => assert.ok(names.length >= 40, `${names.length} messages`));

for (const name of names) {
  const want = JSON.parse(readFileSync(new URL(`${name}.want`, folder), "utf8"));
  if (want.refused) continue; // our limits, not the package's
  test(name, () => assert.deepEqual(read(bytes(name)), want));
}

// A whole session as a node says it (mqtt/sparkplug/session_test.go). Beside the
// .want files, which a program wrote, it is held to figures that none did.
const session = readdirSync(new URL("session/", folder)).filter((file) => file.endsWith(".hex")).map((file) => file.slice(0, -4)).sort();
const told = session.map((name) => ({ name, type: name.slice(3), ...read(bytes(`session/${name}`)) }));
const metric = (message, name) => message.metrics.find((m) => m.name === name);

for (const name of session) {
  test(`session/${name}`, () => assert.deepEqual(read(bytes(`session/${name}`)), JSON.parse(readFileSync(new URL(`session/${name}.want`, folder), "utf8"))));
}

test("the session's sequences go on by one from each birth", () => {
  let next = 0;
  for (const { name, type, seq } of told) {
    if (type === "NBIRTH") next = 0;
    assert.equal(seq, type === "NDEATH" ? undefined : next++, name);
  }
});

test("the session's first births declare all metrics with their values", () => {
  const [node, press] = told;
  assert.deepEqual(metric(node, "bdSeq").value, 0);
  assert.equal(metric(node, "Node Control/Rebirth").value, false);
  assert.equal(metric(node, "Health/Clock").value, "ok");
  assert.equal(press.metrics.length, 52);
  assert.deepEqual([...new Set(press.metrics.map((m) => m.type))].sort(), ["Boolean", "Double", "Int32", "Int64", "String"]);
  assert.equal(metric(press, "Work/Upper Limit").value, 30.68);
  assert.equal(metric(press, "Advice/Change").value, -2);
  const diameter = metric(press, "Reading/Diameter");
  assert.equal(diameter.value, 30.48);
  assert.equal(diameter.properties.engUnit.value, "mm");
  assert.equal(diameter.properties.Quality.value, 192);
  assert.equal(metric(press, "Refused/Reason").value, null);
  for (const m of [...node.metrics, ...press.metrics]) assert.ok(m.timestamp >= 1767268800000, m.name);
});

test("the session tells the past as such, then what happens", () => {
  const past = told.filter((m) => m.type === "DDATA" && m.metrics.every((k) => k.isHistorical));
  assert.deepEqual(past.map((m) => metric(m, "Record/Sequence").longValue), [...Array.from({ length: 16 }, (_, i) => i + 1), 20, 21]); // while there was no host, while there was no press
  assert.equal(metric(past[4], "Stroke/Held").timestamp, 1767268805000);
  const now = told.filter((m) => m.type === "DDATA" && !m.metrics.some((k) => k.isHistorical));
  assert.equal(metric(now[0], "Reading/Diameter").doubleValue, 30.52);
});

test("the session's lost caliper leaves its last reading stale", () => {
  const stale = told.filter((m) => m.metrics?.some((k) => k.properties?.Quality?.value === 500));
  assert.equal(metric(stale[0], "Reading/Diameter").properties.Quality.value, 500);
  assert.equal(metric(stale[0], "Health/Caliper").stringValue, "cable unplugged");
  assert.equal(told.filter((m) => m.type === "DDEATH").length, 1);
});

test("the rebirth command in the files is the package's own", () => {
  const at = 1767268800000;
  const command = { timestamp: at, metrics: [{ name: "Node Control/Rebirth", timestamp: at, type: "Boolean", value: true }] };
  assert.deepEqual(Buffer.from(sparkplug.encodePayload(command)), bytes("ncmd_rebirth"));
});
