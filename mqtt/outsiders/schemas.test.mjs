// The schemas, read strictly by another validator than that of the Go tests: it
// must take the golden messages and agree on each change to them.
import assert from "node:assert/strict";
import { readdirSync } from "node:fs";
import test from "node:test";
import Ajv2020 from "ajv/dist/2020.js";
import addFormats from "ajv-formats";

import { benchtally, change, changes, file, golden, read, topics } from "./messages.mjs";

// strict is as strict as it can be: unknown words, types left out, and keys that
// are required and not described are errors.
function strict() {
  const ajv = new Ajv2020.default({ strict: true, strictTypes: true, strictTuples: true, strictRequired: true, allErrors: true, validateFormats: true });
  addFormats.default(ajv);
  return ajv;
}

const name = (topic) => `urn:benchtally:${topic.replaceAll("/", ":")}:v1`;

// Files that refer to one another by their names.
const ajv = strict();
const files = readdirSync(file("mqtt/schema"), { recursive: true }).filter((f) => f.endsWith(".json"));
for (const f of files) {
  ajv.addSchema(JSON.parse(read(`mqtt/schema/${f}`)));
}

test("there is a schema for each topic, and what they share", () => {
  assert.deepEqual(files.map((f) => f.slice(0, -".json".length)).sort(), [...topics, "envelope", "keys"].sort());
});

for (const topic of topics) {
  test(`golden message of ${topic}`, () => {
    const message = JSON.parse(golden(topic));
    const whole = ajv.getSchema(name(topic));
    assert.ok(whole, "no schema");
    assert.ok(whole(message), ajv.errorsText(whole.errors));
    const alone = strict().compile(JSON.parse(benchtally("topics", "--schema", topic)));
    assert.ok(alone(message), JSON.stringify(alone.errors));
    assert.ok(!alone([]) && !alone("x"), "it takes what is no object");
  });
}

for (const c of changes) {
  test(`${c.topic}: ${c.name}`, () => {
    const check = ajv.getSchema(name(c.topic));
    const message = change(JSON.parse(golden(c.topic)), c);
    assert.equal(check(message), c.valid === true, `${JSON.stringify(message)} ${ajv.errorsText(check.errors)}`);
  });
}
